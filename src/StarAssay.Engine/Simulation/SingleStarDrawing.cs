using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Simulation;

/// <summary>One star, in focus or far out of it, in a small frame: half of a pair for the wavefront.</summary>
public sealed record SingleStarRequest
{
    /// <summary>The telescope.</summary>
    public required SimulatedTelescope Telescope { get; init; }

    /// <summary>The air.</summary>
    public SimulatedSky Sky { get; init; } = new();

    /// <summary>The camera; Width and Height are those of the small frame, which must be a square.</summary>
    public DetectorResponse Detector { get; init; } = new() { Width = 128, Height = 128 };

    /// <summary>The filter.</summary>
    public SimulatedPassband Passband { get; init; } = new() { LowNm = 535, HighNm = 545, Samples = 1 };

    /// <summary>Electrons of the star in the exposure.</summary>
    public double Electrons { get; init; } = 1e7;

    /// <summary>Exposure, s.</summary>
    public double ExposureS { get; init; } = 20;

    /// <summary>Position of the sensor from the focus of the reference wavelength, um, positive outside.</summary>
    public double FocusPositionUm { get; init; }

    /// <summary>Place of the star from the middle pixel, pixels, x.</summary>
    public double OffsetXPix { get; init; }

    /// <summary>Place of the star from the middle pixel, pixels, y.</summary>
    public double OffsetYPix { get; init; }

    /// <summary>Where on the big sensor the star stands, mm from its middle, x: sets the field errors.</summary>
    public double FieldXMm { get; init; }

    /// <summary>The same, y.</summary>
    public double FieldYMm { get; init; }

    /// <summary>Seed of the noise.</summary>
    public long Seed { get; init; } = 1;

    /// <summary>Cosmic-ray hits.</summary>
    public int CosmicRays { get; init; }
}

/// <summary>The truth of a drawn star.</summary>
/// <param name="DefocusUm">Sensor against the local best focus of the reference wavelength, um.</param>
/// <param name="DefocusWaves">W020 in waves of the mean wavelength.</param>
/// <param name="WavelengthNm">Mean wavelength by detected light.</param>
/// <param name="NollTerms">Noll numbers of the wavefront, defocus by the sensor's place not included.</param>
/// <param name="CoefficientsNm">Their coefficients, nm RMS over the full circle.</param>
/// <param name="RmsNm">RMS of these over the open pupil, piston and tilt removed, nm.</param>
/// <param name="StrehlRatio">Strehl ratio at the mean wavelength with tilt removed, sensor at the reference focus.</param>
/// <param name="Share">Share of the light inside the frame.</param>
/// <param name="HalfFluxRadiusPix">Half-flux radius, pixels.</param>
/// <param name="SaturationAdu">Level where pixels are clipped.</param>
/// <param name="Notes">Where the frame falls short of a real one.</param>
public sealed record SingleStarTruth(
    double DefocusUm,
    double DefocusWaves,
    double WavelengthNm,
    int[] NollTerms,
    double[] CoefficientsNm,
    double RmsNm,
    double StrehlRatio,
    double Share,
    double HalfFluxRadiusPix,
    double SaturationAdu,
    IReadOnlyList<Note> Notes);

/// <summary>Draws one star.</summary>
public static class SingleStarDrawing
{
    /// <summary>Draws and exposes.</summary>
    /// <param name="request">What is drawn.</param>
    /// <param name="adu">Receives the numbers the camera writes.</param>
    /// <param name="context">Threads, progress, cancellation.</param>
    public static SingleStarTruth Draw(SingleStarRequest request, Memory<ushort> adu, RunContext context)
    {
        request.Telescope.RequireValid();
        request.Sky.RequireValid();
        request.Passband.RequireValid();
        DetectorResponse detector = request.Detector;
        detector.RequireValid();
        if (detector.Width != detector.Height || detector.Width < 8)
        {
            throw new InputException("simulation.square", $"The frame of a single star is {detector.Width} x {detector.Height}; make it a square of at " +
                "least 8 pixels.", "detector");
        }

        InputException.RequireRange(request.Electrons, 0, 1e12, nameof(request.Electrons), "electron");
        IReadOnlyList<SpectralSample> spectrum = request.Passband.Spectrum(request.Telescope, request.Sky, detector);
        double x = (request.FieldXMm * 1000 / detector.PitchUm) + ((detector.Width - 1) / 2.0);
        double y = (request.FieldYMm * 1000 / detector.PitchUm) + ((detector.Height - 1) / 2.0);
        DiffractionImageRequest image = FieldImages.ImageAt(request.Telescope, request.Sky, detector, spectrum, request.FocusPositionUm, x, y) with
        {
            Size = detector.Width,
            OffsetXPix = request.OffsetXPix,
            OffsetYPix = request.OffsetYPix,
        };
        DiffractionStamp stamp = DiffractionImage.Draw(image, context.Cancel);
        context.Report(0.7, "exposing");
        double light = request.Electrons * request.Telescope.Illumination(
            Math.Sqrt(Square(request.FieldXMm - request.Telescope.Field.AxisXMm) + Square(request.FieldYMm - request.Telescope.Field.AxisYMm)));
        float sky = (float)(request.Sky.BackgroundElectronsPerS * request.ExposureS);
        float[] expected = Array.ConvertAll(stamp.Values, v => (float)Math.Max(0, v * light) + sky);
        Exposure.Expose(expected, detector, request.ExposureS, request.Seed, request.CosmicRays, adu, context);
        return Truth(image, stamp, spectrum, detector);
    }

    private static SingleStarTruth Truth(DiffractionImageRequest image, DiffractionStamp stamp, IReadOnlyList<SpectralSample> spectrum,
        DetectorResponse detector)
    {
        double wavelength = SimulatedPassband.MeanWavelengthNm(spectrum);
        ZernikeIndex[] modes = [.. image.Modes.Where(m => m.N >= 2)];
        double[] nm = [.. image.CoefficientsNm.Where((_, k) => image.Modes[k].N >= 2)];

        // The same mode may be named twice (all over the field, and growing with it).
        int[] terms = [.. modes.Select(m => m.Noll).Distinct().Order()];
        double[] sums = [.. terms.Select(t => nm.Where((_, k) => modes[k].Noll == t).Sum())];

        // Tilt is fitted over the open pupil, where it is not orthogonal to coma any more.
        const int Across = 256;
        double[] open = PupilRaster.Draw(image.Pupil, Across + 2, Across);
        var points = new List<(double X, double Y, double W, double Open)>();
        for (int k = 0; k < open.Length; k++)
        {
            if (open[k] > 0)
            {
                double px = ((k % (Across + 2)) - ((Across + 2) / 2)) * 2.0 / Across;
                double py = ((k / (Across + 2)) - ((Across + 2) / 2)) * 2.0 / Across;
                points.Add((px, py, Zernike.Sum(modes, nm, px, py), open[k]));
            }
        }

        double[] plane = MathNet.Numerics.LinearRegression.WeightedRegression.Weighted(
            [.. points.Select(p => (new[] { 1, p.X, p.Y }, p.W))], [.. points.Select(p => p.Open)]);
        double[] left = [.. points.Select(p => p.W - plane[0] - (plane[1] * p.X) - (plane[2] * p.Y))];
        double[] weights = [.. points.Select(p => p.Open)];
        return new SingleStarTruth(
            image.ShiftUm,
            Defocus.WavefrontNm(image.ShiftUm, image.FocalLengthMm / image.ApertureMm) / wavelength,
            wavelength,
            terms,
            sums,
            Strehl.Rms(left, weights),
            Strehl.FromPupil(left, weights, wavelength),
            stamp.Share,
            stamp.HalfFluxRadiusPix(),
            detector.SaturationAdu,
            stamp.Share < StarFieldDrawing.LeastShare
                ? [SimulationNotes.LightOutside.Say($"The frame holds {stamp.Share:P1} of the star's light. Draw a larger one, or defocus less.")]
                : []);
    }

    private static double Square(double v) => v * v;
}
