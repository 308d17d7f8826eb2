using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Simulation;

/// <summary>A bright surface that ends at a dark one, as a telescope images it.</summary>
public sealed record EdgeRequest
{
    /// <summary>The camera.</summary>
    public DetectorResponse Detector { get; init; } = new();

    /// <summary>Aperture, mm.</summary>
    public double ApertureMm { get; init; } = 100;

    /// <summary>Focal length, mm.</summary>
    public double FocalLengthMm { get; init; } = 700;

    /// <summary>Diameter of the central obstruction over the aperture.</summary>
    public double Obstruction { get; init; }

    /// <summary>Wavelength, nm.</summary>
    public double WavelengthNm { get; init; } = 550;

    /// <summary>Defocus at the pupil's rim, waves.</summary>
    public double DefocusWaves { get; init; }

    /// <summary>FWHM of the air alone, arcsec; 0 = none.</summary>
    public double SeeingArcsec { get; init; }

    /// <summary>Place of the edge, pixels.</summary>
    public double X { get; init; }

    /// <summary>Place of the edge, pixels.</summary>
    public double Y { get; init; }

    /// <summary>Direction of its normal towards the dark there, deg from +x towards +y.</summary>
    public double NormalDeg { get; init; }

    /// <summary>Radius, pixels; 0 = straight; negative = the dark is inside.</summary>
    public double RadiusPx { get; init; }

    /// <summary>Expected electrons of the bright side.</summary>
    public double BrightElectrons { get; init; } = 20_000;

    /// <summary>Expected electrons everywhere: sky or room light.</summary>
    public double DarkElectrons { get; init; }

    /// <summary>Light that is scattered far, a share.</summary>
    public double Glare { get; init; }

    /// <summary>Length over which it falls by e across an edge, pixels; 0 = even over the frame.</summary>
    public double GlareReachPx { get; init; } = 200;

    /// <summary>Seed of the noise.</summary>
    public long Seed { get; init; } = 1;
}

/// <summary>The truth of a drawn edge.</summary>
/// <param name="Frequency">Cycles a pixel along the normal.</param>
/// <param name="Mtf">Of telescope, air and pixel there, glare left out.</param>
/// <param name="OpticsMtf">Of telescope and air.</param>
/// <param name="WidthPx">Width of the edge from 10 to 90 %, pixel included.</param>
/// <param name="SaturationAdu">Level where pixels are clipped.</param>
public sealed record EdgeTruth(double[] Frequency, double[] Mtf, double[] OpticsMtf, double WidthPx, double SaturationAdu);

/// <summary>Draws edges from the transfer function: exact for straight ones, and for bent ones whose radius is long against the blur.</summary>
/// <remarks>
/// The edge spread of a transfer function M along the normal is 1/2 - integral of M(v) sin(2 pi v s) / (pi v); the square pixel is part of M. Glare falls
/// exponentially across a straight edge: half of it reaches the dark at the edge itself, and the bright side lacks as much.
/// </remarks>
public static class EdgeDrawing
{
    private const double Table = 0.05;
    private const int Panels = 1200;

    /// <summary>Draws and exposes.</summary>
    public static EdgeTruth Draw(EdgeRequest request, Memory<ushort> adu, RunContext context)
    {
        float[] expected = new float[request.Detector.Width * request.Detector.Height];
        EdgeTruth truth = DrawExpected(request, expected, context);
        Exposure.Expose(expected, request.Detector, 1, request.Seed, 0, adu, context);
        return truth;
    }

    /// <summary>Draws the expected electrons, without noise.</summary>
    public static EdgeTruth DrawExpected(EdgeRequest request, Memory<float> electrons, RunContext context)
    {
        Check(request);
        DetectorResponse detector = request.Detector;
        double reach = Math.Sqrt(Math.Pow(detector.Width, 2) + Math.Pow(detector.Height, 2));

        // Bent edges have all normals: the pixel's box is taken for each from the nearest of some directions.
        bool bent = request.RadiusPx != 0;
        int ways = bent ? 24 : 1;
        Profile[] profiles = new Profile[ways];
        double Way(int k) => bent ? k * 45.0 / (ways - 1) : request.NormalDeg;
        Parallel.For(0, ways, context.Parallel, k => profiles[k] = new Profile(request, Way(k), Math.Min(reach, 400)));
        (double s, double c) = Math.SinCos(request.NormalDeg * Math.PI / 180);
        double cx = request.X - (request.RadiusPx * c), cy = request.Y - (request.RadiusPx * s);
        Parallel.For(0, detector.Height, context.Parallel, y =>
        {
            Span<float> row = electrons.Span.Slice(y * detector.Width, detector.Width);
            for (int x = 0; x < detector.Width; x++)
            {
                double d, turn = 0;
                if (bent)
                {
                    double dx = x - cx, dy = y - cy, r = Math.Sqrt((dx * dx) + (dy * dy));
                    d = request.RadiusPx > 0 ? r - request.RadiusPx : -r - request.RadiusPx;
                    turn = Math.Atan2(Math.Min(Math.Abs(dx), Math.Abs(dy)), Math.Max(Math.Abs(dx), Math.Abs(dy))) * 180 / Math.PI;
                }
                else
                {
                    d = ((x - request.X) * c) + ((y - request.Y) * s);
                }

                double edge = profiles[bent ? (int)Math.Round(turn / 45 * (ways - 1)) : 0].At(d);
                double far = request.GlareReachPx > 0 ? Half(d / request.GlareReachPx) : 1;
                row[x] = (float)(request.DarkElectrons + (request.BrightElectrons * (((1 - request.Glare) * edge) + (request.Glare * far))));
            }
        });
        double[] frequency = [.. Enumerable.Range(0, 81).Select(k => k * 0.0125)];
        Profile own = profiles[0];
        return new EdgeTruth(frequency, [.. frequency.Select(own.Transfer)], [.. frequency.Select(v => Optics(request, v))], own.Width(),
            detector.SaturationAdu);
    }

    /// <summary>Transfer of telescope and air at a frequency, cycles a pixel.</summary>
    public static double Optics(EdgeRequest request, double cyclesPerPx)
    {
        double perRadian = cyclesPerPx * request.FocalLengthMm * 1000 / request.Detector.PitchUm;
        double share = perRadian * request.WavelengthNm * 1e-6 / request.ApertureMm;
        double telescope = request.DefocusWaves == 0 ? Airy.Mtf(share, request.Obstruction)
            : DefocusTransfer.For(request.Obstruction).At(share, request.DefocusWaves, out _);
        return telescope * (request.SeeingArcsec > 0
            ? Seeing.Mtf(perRadian * request.WavelengthNm * 1e-9, Seeing.R0FromFwhm(request.SeeingArcsec, request.WavelengthNm)) : 1);
    }

    // Light of a half-plane's glare: a share e^-x / 2 in the dark.
    private static double Half(double x) => x > 0 ? Math.Exp(-x) / 2 : 1 - (Math.Exp(x) / 2);

    private static void Check(EdgeRequest request)
    {
        request.Detector.RequireValid();
        InputException.RequireRange(request.ApertureMm, 1, 50_000, "aperture", "mm");
        InputException.RequireRange(request.FocalLengthMm, 10, 1_000_000, "focal_length", "mm");
        InputException.RequireRange(request.Obstruction, 0, 0.9, "obstruction", "");
        InputException.RequireRange(request.WavelengthNm, 200, 2000, "wavelength", "nm");
        InputException.RequireRange(request.DefocusWaves, -5, 5, "defocus", "waves");
        InputException.RequireRange(request.SeeingArcsec, 0, 30, "seeing", "arcsec");
        InputException.RequireRange(request.BrightElectrons, 0, 1e9, "bright", "electron");
        InputException.RequireRange(request.DarkElectrons, 0, 1e9, "dark", "electron");
        InputException.RequireRange(request.Glare, 0, 0.9, "glare", "");
        InputException.RequireRange(request.GlareReachPx, 0, 1e6, "glare_reach", "pix");
        InputException.RequireRange(request.X, -1e6, 1e6, "place", "pix");
        InputException.RequireRange(request.Y, -1e6, 1e6, "place", "pix");
        InputException.RequireRange(request.NormalDeg, -3600, 3600, "normal", "deg");
        InputException.RequireRange(request.RadiusPx, -1e7, 1e7, "radius", "pix");
    }

    /// <summary>The edge spread as a table, and its tail beyond.</summary>
    private sealed class Profile
    {
        private readonly EdgeRequest request;
        private readonly double[] value;
        private readonly double reach, cosine, sine;

        public Profile(EdgeRequest request, double normalDeg, double reach)
        {
            (this.request, this.reach) = (request, reach);
            (sine, cosine) = Math.SinCos(normalDeg * Math.PI / 180);
            double cutoff = request.ApertureMm / (request.WavelengthNm * 1e-6) * request.Detector.PitchUm / (1000 * request.FocalLengthMm);
            double dv = Math.Min(cutoff / Panels, 0.2 / reach);
            int count = (int)Math.Ceiling(cutoff / dv);
            double[] v = [.. Enumerable.Range(0, count).Select(k => (k + 0.5) * dv)], m = [.. v.Select(f => Transfer(f) * dv / (Math.PI * f))];
            value = new double[(int)(reach / Table) + 2];
            for (int k = 0; k < count; k++)
            {
                // Sines of all distances by turning: s = i Table.
                (double s1, double c1) = Math.SinCos(2 * Math.PI * v[k] * Table);
                double s = 0, c = 1;
                for (int i = 0; i < value.Length; i++)
                {
                    value[i] += m[k] * s;
                    (s, c) = ((s * c1) + (c * s1), (c * c1) - (s * s1));
                }
            }
        }

        public double Transfer(double v) => Optics(request, v) * Box(v * cosine) * Box(v * sine);

        /// <summary>Light at a distance towards the dark.</summary>
        public double At(double distance)
        {
            double a = Math.Abs(distance), lost = 0.5 - Tail(Math.Min(a, reach));

            // Beyond the table as a perfect edge falls: with the reciprocal of the distance.
            lost = a > reach ? 0.5 - (Tail(reach) * reach / a) : lost;
            return distance > 0 ? 0.5 - lost : 0.5 + lost;
        }

        public double Width()
        {
            double low = 0, high = reach;
            for (int turn = 0; turn < 60; turn++)
            {
                double middle = (low + high) / 2;
                (low, high) = At(middle) > 0.1 ? (middle, high) : (low, middle);
            }

            return low + high;
        }

        private static double Box(double f) => Math.Abs(f) < 1e-12 ? 1 : Math.Sin(Math.PI * f) / (Math.PI * f);

        private double Tail(double distance)
        {
            double at = Math.Min(distance / Table, value.Length - 1.001);
            int i = (int)at;
            return 0.5 - (value[i] + ((at - i) * (value[i + 1] - value[i])));
        }
    }
}
