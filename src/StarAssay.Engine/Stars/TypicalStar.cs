using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>The usual star of a frame, from a first look at some of its brighter peaks.</summary>
/// <param name="Variance">Median second moment (mean of both axes), px^2.</param>
/// <param name="NarrowVariance">Lower quarter of the second moments along the short axis, at least 0.6 of their median (a few hits among few stars
/// must not set it), px^2.</param>
/// <param name="Hfr">Median recorded half-flux radius, pixels.</param>
/// <param name="Alpha">Width of the usual Moffat profile, pixels.</param>
/// <param name="Beta">Its exponent.</param>
/// <param name="SnrPerSignificance">Signal-to-noise ratio over the significance of the peak.</param>
/// <param name="Stars">Stars behind it.</param>
internal sealed record TypicalStar(double Variance, double NarrowVariance, double Hfr, double Alpha, double Beta, double SnrPerSignificance, int Stars)
{
    private const int Wanted = 128;
    private const int FewestFits = 5;
    private const double FirstRadius = 10;
    private const double LargestRadius = 60;

    private static readonly TypicalStar Unknown = new(2, 0.6, 1.6, 2.2, 3, 1, 0);

    /// <summary>Three half-flux radii, at least 5 pixels.</summary>
    public double OuterRadius => Math.Clamp(Math.Ceiling(3 * Hfr), 5, LargestRadius);

    /// <summary>Takes the look.</summary>
    public static TypicalStar Of(Frame frame, BackgroundMesh mesh, Seed[] peaks, RunContext context)
    {
        int[] ranked = Seed.BySignificance(peaks);

        // The very brightest are often clipped; of the next ones every so many, so that a range of brightness counts.
        int skip = ranked.Length / 50, use = Math.Min(ranked.Length - skip, 8 * Wanted), step = Math.Max(1, use / Wanted);
        Seed[] chosen = [.. Enumerable.Range(0, use / step).Select(i => peaks[ranked[skip + (i * step)]])];
        double radius = FirstRadius;
        TypicalStar best = Unknown;
        for (int round = 0; round < 3; round++)
        {
            best = Look(frame, mesh, chosen, radius, best, context);
            if (best.Stars < 3 || best.OuterRadius <= radius)
            {
                break;
            }

            radius = best.OuterRadius;
        }

        return best;
    }

    /// <summary>What the stars of the frame are measured with.</summary>
    public MeterSettings Settings(Frame frame, BackgroundMesh mesh, Seed[] seeds, double outerRadius) => new()
    {
        Frame = frame,
        Mesh = mesh,
        Seeds = seeds,
        Grid = new SeedGrid(seeds, frame.Width, frame.Height),
        Variance = Variance,
        NarrowVariance = NarrowVariance,
        OuterRadius = outerRadius,
        SnrRadius = Math.Clamp(2 * Hfr, 1.5, outerRadius),
        SnrPerSignificance = SnrPerSignificance,

        // The median of nine cells is as good as the mean of about six.
        SkySamples = 6 * mesh.SamplesPerCell,
        Beta = Beta,
        FreeBetaSnr = 150,
        Gain = frame.GainElectronsPerAdu,
        Saturation = frame.SaturationAdu,
    };

    /// <summary>Smoothed height of this star's peak over its center intensity, mean of the pixel's middle and corner.</summary>
    public double FilteredPeak(double filterSigma)
    {
        var stamp = new Stamp(4);
        double total = 0, taps = 0;
        foreach (double shift in new[] { 0, 0.5 })
        {
            MoffatKernel.Draw(stamp, new MoffatKernel.Area(0, 0, stamp.Side, stamp.Side), Moffat.Round(4 + shift, 4 + shift, Alpha, Beta), true);
            for (int j = -2; j <= 2; j++)
            {
                for (int i = -2; i <= 2; i++)
                {
                    double w = Math.Exp(-0.5 * ((i * i) + (j * j)) / (filterSigma * filterSigma));
                    taps += w;
                    total += w * stamp[4 + i, 4 + j];
                }
            }
        }

        return total / taps / ((Beta - 1) / (Math.PI * Alpha * Alpha));
    }

    private static TypicalStar Look(Frame frame, BackgroundMesh mesh, Seed[] chosen, double radius, TypicalStar start, RunContext context)
    {
        MeterSettings settings = start.Settings(frame, mesh, chosen, radius) with { FreeBetaSnr = 50 };
        StarRecord[] stars = StarMeasurement.MeasureAll(settings, 50, context);
        var variances = new List<double>();
        var narrow = new List<double>();
        var radii = new List<double>();
        var alphas = new List<double>();
        var betas = new List<double>();
        var ratios = new List<double>();
        for (int i = 0; i < stars.Length; i++)
        {
            StarRecord star = stars[i];

            // Narrower than any star the pixels can carry: a hit, not a star.
            bool hit = !(Math.Sqrt(Math.Max(0, (star.Cxx * star.Cyy) - (star.Cxy * star.Cxy))) > 0.15) || star.Sharpness < 0.12;
            if (!hit && (star.Marks & (StarMarks.Saturated | StarMarks.NoShape | StarMarks.Edge)) == 0)
            {
                double half = 0.5 * (star.Cxx + star.Cyy), spread = Math.Sqrt((0.25 * (star.Cxx - star.Cyy) * (star.Cxx - star.Cyy)) + (star.Cxy * star.Cxy));
                variances.Add(half);
                narrow.Add(half - spread);
                radii.Add(star.HfrRecorded);
                ratios.Add(star.Snr / chosen[i].Significance);
                if (star.Fwhm > 0)
                {
                    alphas.Add(star.Alpha);
                    betas.Add(star.Beta);
                }
            }
        }

        if (variances.Count < 3)
        {
            return start with { Stars = variances.Count };
        }

        narrow.Sort();
        double hfr = Median(radii), beta = betas.Count >= FewestFits ? Math.Clamp(Median(betas), 1.6, 8) : start.Beta;
        double alpha = alphas.Count >= FewestFits ? Median(alphas) : hfr / Math.Sqrt(Math.Pow(2, 1 / (beta - 1)) - 1);
        return new TypicalStar(Median(variances), Math.Max(0.12, Math.Max(narrow[narrow.Count / 4], 0.6 * narrow[narrow.Count / 2])), hfr, alpha, beta, Median(ratios), variances.Count);
    }

    private static double Median(List<double> values)
    {
        values.Sort();
        return values[values.Count / 2];
    }
}
