using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>The usual star of a frame, from a first look at some of its brighter peaks: those whose sizes agree.</summary>
/// <param name="Variance">Median second moment (mean of both axes), px^2.</param>
/// <param name="NarrowVariance">Lower quarter of the second moments along the short axis, at least 0.6 of their median (a few hits among few stars
/// must not set it), px^2.</param>
/// <param name="Hfr">Median recorded half-flux radius, pixels.</param>
/// <param name="Alpha">Width of the usual Moffat profile, pixels.</param>
/// <param name="Beta">Its exponent, at most 8: beyond, the skirts say nothing.</param>
/// <param name="SnrPerSignificance">Signal-to-noise ratio over the significance of the peak.</param>
/// <param name="Stars">Stars behind it.</param>
/// <param name="Gain">Electrons per ADU that what the fits leave over tells, where the frame does not; else NaN.</param>
/// <param name="GainRelative">Its relative standard uncertainty.</param>
/// <param name="Objects">Bright objects among which these were sought.</param>
/// <param name="BetaError">Standard uncertainty of the exponent that fits of faint stars share.</param>
/// <param name="FitBeta">Exponent that fits of faint stars share: that of a Gaussian where bright ones are; NaN: <paramref name="Beta"/>.</param>
internal sealed record TypicalStar(double Variance, double NarrowVariance, double Hfr, double Alpha, double Beta, double SnrPerSignificance, int Stars,
    int Objects, double BetaError, double Gain = double.NaN, double GainRelative = double.NaN, double FitBeta = double.NaN)
{
    private const int Wanted = 128;
    private const int FewestFits = 5;
    private const double BrightSnr = 15;
    private const int EnoughBright = 8;

    private const double CompactShare = 1.5;
    private const double SigmaToFwhm = 2.354820;

    // Sizes of the sequence lie within this of where most are, in the logarithm of the second moment.
    private const double SequenceWidth = 0.5;
    private const double FirstRadius = 10;

    // Half-flux radius over the root of the second moment under a matched weight: 1.2 for a Gaussian, 1.1 for a disc, 1.7 for a Moffat profile of
    // exponent 2. More is neighbors' light, and a larger circle for it would take in more of them.
    private const double MostHfr = 2.2;

    // Exponents of stars lie between 2 and 5 (common practice, no source): what one taken unseen is off by.
    private const double AnyBeta = 1;

    // A gain taken from the sky's level may be off by its bias level (common practice, no source).
    private const double SkyGainRelative = 0.5;
    private const double GainStep = 1.3;

    // No sensor's pixel has less noise than this many electrons, nor the mean of some ten of them (common practice, no source).
    private const double LeastNoiseElectrons = 0.15;
    private const double LargestRadius = 60;

    private static readonly TypicalStar Unknown = new(2, 0.6, 1.6, 2.2, 3, 1, 0, 0, AnyBeta);

    /// <summary>A disc: half of its light lies within 0.354 of its diameter.</summary>
    private static TypicalStar Disc(double diameter) =>
        new(diameter * diameter / 10, diameter * diameter / 20, 0.354 * diameter, 0.7 * diameter, 8, 1, 0, 0, AnyBeta);

    /// <summary>Three half-flux radii, at least 5 pixels.</summary>
    public double OuterRadius => Math.Clamp(Math.Ceiling(3 * Hfr), 5, LargestRadius);

    /// <summary>Takes the look.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="mesh">Its sky.</param>
    /// <param name="peaks">All peaks.</param>
    /// <param name="disc">Diameter of the stars where they are discs, else 0.</param>
    /// <param name="width">Width of the compact ones among the bright objects, pixels; 0 when not known.</param>
    /// <param name="context">Threads.</param>
    public static TypicalStar Of(Frame frame, BackgroundMesh mesh, Seed[] peaks, double disc, double width, RunContext context)
    {
        Seed[] chosen = StarSample.Pick(peaks, frame.Width, frame.Height, Wanted);
        double radius = Math.Clamp(disc, FirstRadius, LargestRadius);
        TypicalStar best = disc > 0 ? Disc(disc) : Unknown;
        for (int round = 0; round < 3; round++)
        {
            best = Look(frame, mesh, chosen, radius, best, width, context);
            if (best.Stars < 3 || best.OuterRadius <= radius)
            {
                break;
            }

            radius = best.OuterRadius;
        }

        if (double.IsNaN(frame.GainElectronsPerAdu) && best.Gain > 0)
        {
            // Weights, and with them the usual exponent, followed the sky's gain; once more with that of the stars.
            TypicalStar again = Look(frame, mesh, chosen, Math.Max(radius, FirstRadius), best, width, context);
            best = again.Gain > 0 ? again : best;
        }

        return double.IsNaN(frame.GainElectronsPerAdu) ? WithGainDoubt(frame, mesh, chosen, Math.Max(radius, FirstRadius), best, width, context) : best;
    }

    /// <summary>Relative standard uncertainty of the gain that was used in place of an unknown one.</summary>
    public double UsedGainRelative => double.IsNaN(GainRelative) ? SkyGainRelative : GainRelative;

    /// <summary>Where stars follow no Moffat profile the exponent goes with the weights, and so with the gain: looked at once more with another.</summary>
    private static TypicalStar WithGainDoubt(Frame frame, BackgroundMesh mesh, Seed[] chosen, double radius, TypicalStar best, double width, RunContext context)
    {
        double gain = best.Settings(frame, mesh, chosen, radius).Gain * GainStep;
        if (!double.IsFinite(gain) || !double.IsFinite(best.FitBeta))
        {
            return best;
        }

        TypicalStar other = Look(frame with { GainElectronsPerAdu = gain }, mesh, chosen, radius, best, width, context);
        double slope = (other.FitBeta - best.FitBeta) / Math.Log(GainStep);
        return double.IsFinite(slope) ? best with { BetaError = double.Hypot(best.BetaError, slope * best.UsedGainRelative) } : best;
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
        FitBeta = double.IsNaN(FitBeta) ? Beta : FitBeta,
        BetaError = BetaError,
        FreeBetaSnr = 150,
        Gain = !double.IsNaN(frame.GainElectronsPerAdu) ? frame.GainElectronsPerAdu : double.IsNaN(Gain) ? SkyGain(mesh) : Gain,
        WantsLeft = false,
        Saturation = frame.SaturationAdu,
    };

    /// <summary>The gain with which the sky's own photons make its noise: the least that photon noise can be where the level holds no bias;
    /// NaN where it says nothing.</summary>
    private static double SkyGain(BackgroundMesh mesh)
    {
        float[] levels = new float[mesh.Columns * mesh.Rows], noises = new float[levels.Length];
        for (int k = 0; k < levels.Length; k++)
        {
            (levels[k], noises[k]) = (mesh.Level(k % mesh.Columns, k / mesh.Columns), mesh.Noise(k % mesh.Columns, k / mesh.Columns));
        }

        double level = Rank.Median(levels), noise = Rank.Median(noises);
        return level > noise && noise > 0 ? level / (noise * noise) : double.NaN;
    }

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

    private static TypicalStar Look(Frame frame, BackgroundMesh mesh, Seed[] chosen, double radius, TypicalStar start, double width, RunContext context)
    {
        MeterSettings settings = start.Settings(frame, mesh, chosen, radius) with { FreeBetaSnr = 50, WantsLeft = double.IsNaN(frame.GainElectronsPerAdu) };
        StarRecord[] stars = StarMeasurement.MeasureAll(settings, 50, context);
        int[] bright = BrightOnes(stars), same = OwnSequence(stars, bright, width);
        if (same.Length < 3)
        {
            return start with { Stars = same.Length, Objects = bright.Length };
        }

        double Middle(Func<int, double> value) => Median([.. same.Select(value)]);
        int[] fitted = Array.FindAll(same, i => stars[i].Fwhm > 0);
        List<double> narrow = [.. same.Select(i => Half(stars[i]) - Spread(stars[i])).Order()];
        double hfr = Math.Min(Middle(i => stars[i].HfrRecorded), MostHfr * Math.Sqrt(Middle(i => Half(stars[i])))),
            fitBeta = fitted.Length >= FewestFits ? Math.Max(1.6, Median([.. fitted.Select(i => stars[i].Beta)])) : start.Beta, beta = Math.Min(8, fitBeta);
        double alpha = fitted.Length >= FewestFits && fitBeta <= 8 ? Median([.. fitted.Select(i => stars[i].Alpha)])
            : hfr / Math.Sqrt(Math.Pow(2, 1 / (beta - 1)) - 1);
        double betaError = fitted.Length >= FewestFits ? fitBeta * fitBeta * MedianError([.. fitted.Select(i => 1 / stars[i].Beta)]) : start.BetaError;
        (double gain, double relative) = GainFromStars.Estimate([.. same.Where(i => stars[i].Left.Light > 0 && (stars[i].Marks & StarMarks.Blended) == 0)
            .Select(i => (stars[i].Left.Excess, stars[i].Left.Light, stars[i].Left.Sky, stars[i].Peak))]);
        if (gain * Middle(i => stars[i].Noise) < LeastNoiseElectrons)
        {
            // Neighbors and misfit, not photons.
            (gain, relative) = (double.NaN, double.NaN);
        }

        return new TypicalStar(Middle(i => Half(stars[i])), Math.Max(0.12, Math.Max(narrow[narrow.Count / 4], 0.6 * narrow[narrow.Count / 2])), hfr, alpha,
            beta,
            Middle(i => stars[i].Snr / chosen[i].Significance), same.Length, bright.Length, betaError, gain, relative, fitBeta);
    }

    /// <summary>Objects that can tell sizes: the bright ones where they are enough.</summary>
    private static int[] BrightOnes(StarRecord[] stars)
    {
        int[] usable = [.. Enumerable.Range(0, stars.Length).Where(i => IsUsable(stars[i]))];
        int[] bright = Array.FindAll(usable, i => stars[i].Snr > BrightSnr);
        return bright.Length >= EnoughBright ? bright : usable;
    }

    /// <summary>The objects of the frame's own sequence of stars: those of the size that most have. Knots of galaxies, blends and hits come
    /// in all sizes, stars in one.</summary>
    private static int[] OwnSequence(StarRecord[] stars, int[] usable, double width)
    {
        if (usable.Length < 3)
        {
            return usable;
        }

        // Stars are the compact branch: where there is one, what is much wider has no say.
        double most = Math.Pow(CompactShare * width / SigmaToFwhm, 2);
        int[] compact = Array.FindAll(usable, i => Half(stars[i]) < most);
        usable = compact.Length >= Math.Max(EnoughBright, usable.Length / 4) ? compact : usable;
        double mode = HalfSampleMode.Of([.. usable.Select(i => Math.Log(Half(stars[i]))).Order()]);
        int[] near = Array.FindAll(usable, i => Math.Abs(Math.Log(Half(stars[i])) - mode) < SequenceWidth);
        return near.Length >= 3 ? near : usable;
    }

    private static bool IsUsable(in StarRecord star)
    {
        // Narrower than any star the pixels can carry: a hit, not a star.
        bool hit = !(Math.Sqrt(Math.Max(0, (star.Cxx * star.Cyy) - (star.Cxy * star.Cxy))) > 0.15) || star.Sharpness < 0.12;
        return !hit && star.Snr > 0 && (star.Marks & (StarMarks.Saturated | StarMarks.NoShape | StarMarks.Edge)) == 0;
    }

    private static double Half(in StarRecord star) => 0.5 * (star.Cxx + star.Cyy);

    private static double Spread(in StarRecord star) => Math.Sqrt((0.25 * (star.Cxx - star.Cyy) * (star.Cxx - star.Cyy)) + (star.Cxy * star.Cxy));

    /// <summary>Standard uncertainty of a median, from the quartiles.</summary>
    private static double MedianError(List<double> values)
    {
        values.Sort();
        return 1.2533 * (values[values.Count * 3 / 4] - values[values.Count / 4]) / 1.34898 / Math.Sqrt(values.Count);
    }

    private static double Median(List<double> values)
    {
        values.Sort();
        return values[values.Count / 2];
    }
}
