using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>Every star's own wavefront: first a few bright stars by themselves, then all with what those share.</summary>
internal sealed class StarFits
{
    /// <summary>Modes that are told over the field: Noll 5 to 11.</summary>
    public static readonly int FieldModes = FitModes.CountUpTo(11);

    // Bright stars that find seeing and defocus from nothing, and those that then find the finer modes.
    private const int Pioneers = 5, Leaders = 8;

    private const int LastNoll = 22;

    // Sky round the largest disc, pixels.
    private const double Margin = 10;

    // From fewer waves of defocus the modes are not told apart.
    private const double LeastWaves = 1.5;

    // What is left of chi squared above one with both images on one side, over that with one on either side; and how good it must be in
    // itself: a blend fits neither (bounds of the wavefront of one star, whose tuning pairs left 0 to 0.05 and 1.0 to 1.3).
    private const double SameSide = 0.15, GoodInItself = 2;

    // A star of so large a chi squared, and so many times that of the median star, is two stars or none.
    private const double LargeMisfit = 4, MisfitRatio = 6;

    // Chi squared from which the other side is tried.
    private const double SuspectFrom = 2;

    private StarFits(StarWavefront[] each, PairStar[] stars, int misfits, double[] seeing, double[] finer)
    {
        (Each, Stars, Misfits, Seeing, Finer) = (each, stars, misfits, seeing, finer);
    }

    /// <summary>One for each star.</summary>
    public StarWavefront[] Each { get; }

    /// <summary>The stars themselves, in the same order.</summary>
    public PairStar[] Stars { get; }

    /// <summary>Left out: the model fits them far worse than the others.</summary>
    public int Misfits { get; }

    /// <summary>Seeing of both frames, (D/r0)^(5/3).</summary>
    public double[] Seeing { get; }

    /// <summary>Modes from Noll 12 on that were held for all stars, nm.</summary>
    public double[] Finer { get; }

    /// <summary>Fits them.</summary>
    /// <exception cref="CannotMeasureException">Too little defocus, or both frames from one side of focus.</exception>
    public static StarFits Of(WavefrontFieldRequest request, PairStars stars, RunContext context)
    {
        SharedSetup shared = Setup(request, stars);
        PairStar[] leaders = [.. stars.Stars.Take(Leaders)], pioneers = [.. leaders.Take(Pioneers)];
        int all = shared.Modes.Length;
        StarWavefront[] first = All(shared, pioneers, Alone(request, all, FieldModes, -1, 1), context, 0.2, 0.25);
        RefuseOneSide(request, shared, pioneers, first, context);
        double[] ownSeeing = SeeingOf(first), ownScale = ScaleOf(shared, pioneers, first);
        shared = shared with { LargestDefocusNm = Largest(stars.Stars, ownScale) };
        var modes = StartModes.Of(request, pioneers, first, FieldModes);
        first = All(shared, leaders, new StarStart(ownScale, ownSeeing, true, modes.At, all), context, 0.25, 0.35);
        modes = StartModes.Of(request, leaders, first, all);
        double[] seeing = SeeingOf(first);

        // It is held from here on, and hides what then need not be drawn.
        shared = shared with { Optics = shared.Optics with { LeastSeeing = seeing.Min() } };
        var start = new StarStart(ScaleOf(shared, leaders, first), seeing, false, modes.At, FieldModes);
        StarWavefront[] each = All(shared, stars.Stars, start, context, 0.35, 0.9);
        Again(request, shared, stars.Stars, each, start, modes, context);
        double limit = Math.Max(LargeMisfit, MisfitRatio * Robust.Median(each.Select(f => f.ChiSquared)));
        int[] kept = [.. Enumerable.Range(0, each.Length).Where(s => each[s].ChiSquared < limit && double.IsFinite(each[s].FocusVariance))];
        return new StarFits([.. kept.Select(s => each[s])], [.. kept.Select(s => stars.Stars[s])], each.Length - kept.Length, seeing, modes.Finer(FieldModes));
    }

    private static StarStart Alone(WavefrontFieldRequest request, int modes, int free, double first, double second)
    {
        double perPixel = request.PitchUm / (8e-3 * request.FocalRatio);
        return new StarStart([first * perPixel, second * perPixel], [double.NaN, double.NaN], true, _ => new double[modes], free);
    }

    // Stars that lie far off the others' law of coma begin once more from it: much coma has other minima beside the right one.
    private static void Again(WavefrontFieldRequest request, SharedSetup shared, PairStar[] stars, StarWavefront[] each, StarStart start, StartModes modes,
        RunContext context)
    {
        StartModes law = modes.WithComaOf(request, stars, each);
        int[] far = [.. Enumerable.Range(0, stars.Length).Where(s => law.IsFar(stars[s], each[s]))];
        StarWavefront[] again = All(shared, [.. far.Select(s => stars[s])], start with { CoefficientNm = law.At }, context, 0.9, 0.95);
        for (int k = 0; k < far.Length; k++)
        {
            each[far[k]] = again[k].ChiSquared < each[far[k]].ChiSquared ? again[k] : each[far[k]];
        }
    }

    private static double[] SeeingOf(StarWavefront[] fits) =>
        [.. Enumerable.Range(0, 2).Select(k => Math.Max(1e-3, Robust.Median(fits.Select(f => f.Seeing[k]))))];

    /// <summary>What a disc's half-flux radius says of its defocus, as fitted stars have it.</summary>
    private static double[] ScaleOf(SharedSetup shared, PairStar[] stars, StarWavefront[] fits) =>
        [.. Enumerable.Range(0, 2).Select(k => Robust.Median(fits.Select((f, s) => shared.Optics.DefocusNm(f.DistanceUm[k]) / stars[s].Diameter[k])))];

    private static double Largest(PairStar[] stars, double[] scale) =>
        1.03 * stars.Max(s => Math.Max(Math.Abs(scale[0]) * s.Diameter[0], Math.Abs(scale[1]) * s.Diameter[1]));

    private static SharedSetup Setup(WavefrontFieldRequest request, PairStars stars)
    {
        double largest = 0;
        double[] usual = new double[2];
        for (int k = 0; k < 2; k++)
        {
            double[] sorted = [.. stars.Stars.Select(s => s.Diameter[k]).Order()];
            usual[k] = sorted[sorted.Length / 2];
            largest = Math.Max(largest, sorted[(int)(0.98 * (sorted.Length - 1))]);
        }

        double nm = 1.1 * largest * request.PitchUm / (8e-3 * request.FocalRatio), waves = usual.Min() * request.PitchUm / (8e-3 * request.FocalRatio)
            / request.WavelengthNm;
        if (waves < LeastWaves || usual.Min() < 8)
        {
            double unit = 8e-6 * request.WavelengthNm * request.FocalRatio * request.FocalRatio;
            throw new CannotMeasureException("wavefront-field.too-little-defocus",
                $"The stars are discs of {usual.Min():F0} pixels, {waves:F1} waves out of focus. Defocus by 5 to 8 waves to either side, {5 * unit:F2} to "
                + $"{8 * unit:F2} mm here.");
        }

        int window = Fft.Padded((int)Math.Ceiling((1.45 * largest) + Margin));
        double[] distance = [.. usual.Select((d, k) => (k == 0 ? -1 : 1) * d * request.PitchUm * request.FocalRatio)];
        var optics = new PairOptics(request.Pupil, request.FocalRatio, request.PitchUm, [request.WavelengthNm], [1], 0, window)
        {
            Stretch = [.. distance.Select(d => 1 + (d * 1e-3 / request.FocalLengthMm))],
        };
        return new SharedSetup(optics, ZernikeIndex.NollRange(5, LastNoll), nm, request.FocalLengthMm, [.. request.Frames.Select(f => new FrameReader(f))],
            stars.Fields);
    }

    private static StarWavefront[] All(SharedSetup shared, PairStar[] stars, StarStart start, RunContext context, double from, double to)
    {
        var each = new StarWavefront[stars.Length];
        int done = 0;
        Sharing.For(stars.Length, context, () => new StarFitter(shared, context.Cancel), (s, fitter) =>
        {
            each[s] = fitter.Fit(stars[s], start);
            context.Report(from + ((to - from) * Interlocked.Increment(ref done) / stars.Length), "fitting stars");
        }, fitter => fitter.Dispose());
        return each;
    }

    // Images of one side fit far better with one of them on the other side than as the call has them.
    private static void RefuseOneSide(WavefrontFieldRequest request, SharedSetup shared, PairStar[] stars, StarWavefront[] first, RunContext context)
    {
        double chi = Robust.Median(first.Select(f => f.ChiSquared));
        if (chi < SuspectFrom)
        {
            return;
        }

        foreach (double side in new[] { 1.0, -1 })
        {
            StarStart start = Alone(request, shared.Modes.Length, FieldModes, side, side);
            double other = Robust.Median(All(shared, stars, start, context, 0.25, 0.25).Select(f => f.ChiSquared));
            if (other < GoodInItself && other - 1 < SameSide * (chi - 1))
            {
                throw new CannotMeasureException("wavefront-field.same-side",
                    "Both frames look as if taken on the same side of focus. Take one with the sensor nearer to the objective than best focus and one "
                    + "farther away.", request.Frames[1].Name);
            }
        }
    }
}
