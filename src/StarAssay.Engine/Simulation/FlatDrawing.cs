using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Simulation;

/// <summary>A frame of even light: flat field or twilight, or a dark or bias frame when the level is 0.</summary>
public sealed record FlatRequest
{
    /// <summary>The telescope.</summary>
    public required SimulatedTelescope Telescope { get; init; }

    /// <summary>The camera.</summary>
    public DetectorResponse Detector { get; init; } = new();

    /// <summary>Expected electrons on the axis; 0 = no light.</summary>
    public double LevelElectrons { get; init; } = 25_000;

    /// <summary>Exposure, s (dark current).</summary>
    public double ExposureS { get; init; } = 1;

    /// <summary>Unevenness of the light source from left to right, as a share of the level.</summary>
    public double GradientX { get; init; }

    /// <summary>The same from the lower edge to the upper.</summary>
    public double GradientY { get; init; }

    /// <summary>Dust in the light path.</summary>
    public IReadOnlyList<DustGrain> Dust { get; init; } = [];

    /// <summary>Seed of the noise.</summary>
    public long Seed { get; init; } = 1;

    /// <summary>Cosmic-ray hits.</summary>
    public int CosmicRays { get; init; }
}

/// <summary>A grain of dust: its shadow is the pupil's shape, its width the grain's distance over the focal ratio.</summary>
/// <param name="X">Middle of the shadow, pixels.</param>
/// <param name="Y">Middle of the shadow, pixels.</param>
/// <param name="DistanceMm">Distance before the sensor, mm.</param>
/// <param name="Depth">Share of the light taken inside the shadow.</param>
public sealed record DustGrain(double X, double Y, double DistanceMm, double Depth);

/// <summary>The truth of a drawn flat.</summary>
/// <param name="CornerIllumination">Illumination at the four corners (lower left, lower right, upper left, upper right) against the axis.</param>
/// <param name="HalfLightRadiusMm">Distance from the axis where half of the light is left; NaN when it lies beyond 200 mm.</param>
/// <param name="DustDiameterPix">Width of each grain's shadow, pixels.</param>
/// <param name="SaturationAdu">Level where pixels are clipped.</param>
public sealed record FlatTruth(double[] CornerIllumination, double HalfLightRadiusMm, double[] DustDiameterPix, double SaturationAdu);

/// <summary>Draws flats.</summary>
public static class FlatDrawing
{
    /// <summary>Draws and exposes.</summary>
    /// <param name="request">What is drawn.</param>
    /// <param name="adu">Receives the numbers the camera writes.</param>
    /// <param name="context">Threads, progress, cancellation.</param>
    public static FlatTruth Draw(FlatRequest request, Memory<ushort> adu, RunContext context)
    {
        request.Telescope.RequireValid();
        DetectorResponse detector = request.Detector;
        detector.RequireValid();
        InputException.RequireRange(request.LevelElectrons, 0, 1e9, nameof(request.LevelElectrons), "electron");
        foreach (DustGrain grain in request.Dust)
        {
            InputException.RequireRange(grain.Depth, 0, 1, "depth", string.Empty);
            InputException.RequireRange(grain.DistanceMm, 0, request.Telescope.FocalLengthMm, "distance", "mm");
        }

        float[] expected = new float[detector.Width * detector.Height];
        var illumination = new IlluminationTable(request.Telescope, detector);
        double[] dust = [.. request.Dust.Select(d => d.DistanceMm * 1000 / request.Telescope.FocalRatio / detector.PitchUm)];
        Parallel.For(0, detector.Height, context.Parallel, y =>
        {
            double v = ((double)y / Math.Max(1, detector.Height - 1)) - 0.5;
            for (int x = 0; x < detector.Width; x++)
            {
                double u = ((double)x / Math.Max(1, detector.Width - 1)) - 0.5;
                double light = request.LevelElectrons * Math.Max(0, 1 + (request.GradientX * u) + (request.GradientY * v))
                    * illumination.At(x, y);
                for (int k = 0; k < dust.Length; k++)
                {
                    double r = Math.Sqrt(((x - request.Dust[k].X) * (x - request.Dust[k].X)) + ((y - request.Dust[k].Y) * (y - request.Dust[k].Y)));
                    double edge = dust[k] / 2;

                    // The edge falls over one pixel.
                    double inside = Math.Clamp(edge - r + 0.5, 0, 1) * Math.Clamp(r - (request.Telescope.Obstruction * edge) + 0.5, 0, 1);
                    light *= 1 - (request.Dust[k].Depth * inside);
                }

                expected[(y * detector.Width) + x] = (float)light;
            }
        });
        context.Report(0.5, "exposing");
        Exposure.Expose(expected, detector, request.ExposureS, request.Seed, request.CosmicRays, adu, context);
        int right = detector.Width - 1;
        int top = detector.Height - 1;
        return new FlatTruth(
            [
                IlluminationAt(request.Telescope, detector, 0, 0),
                IlluminationAt(request.Telescope, detector, right, 0),
                IlluminationAt(request.Telescope, detector, 0, top),
                IlluminationAt(request.Telescope, detector, right, top),
            ],
            HalfLightRadius(request.Telescope),
            dust,
            detector.SaturationAdu);
    }

    /// <summary>Share of the light at a pixel against the optical axis.</summary>
    private static double IlluminationAt(SimulatedTelescope telescope, DetectorResponse detector, double x, double y)
    {
        (double xMm, double yMm) = FieldImages.Millimetres(detector, x, y);
        double hx = xMm - telescope.Field.AxisXMm;
        double hy = yMm - telescope.Field.AxisYMm;
        return telescope.Illumination(Math.Sqrt((hx * hx) + (hy * hy)));
    }

    private static double HalfLightRadius(SimulatedTelescope telescope) =>
        telescope.Illumination(200) > 0.5 || telescope.Illumination(0) < 0.5
            ? double.NaN
            : MathNet.Numerics.RootFinding.Bisection.FindRoot(r => telescope.Illumination(r) - 0.5, 0, 200, 1e-9, 200);
}
