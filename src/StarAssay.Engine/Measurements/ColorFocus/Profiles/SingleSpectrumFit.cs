using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>
/// Size of the defocus of every color in one spectrum, and a smooth signed curve through it.
/// </summary>
/// <remarks>Profiles tell only the size of the defocus. A smooth curve passes through zero where the size touches zero, or
/// turns back there: every way of choosing is tried as a smooth curve on the profiles themselves, with the spectrograph's own blur
/// free in each, and the best kept. The sign of the whole remains open without a hint.</remarks>
internal sealed class SingleSpectrumFit
{
    private const int Head = SignedCurveFit.Head;

    /// <summary>Relative error of the seeing width that all colors share: real profiles are not exactly the model's. Our own choice.</summary>
    private const double CommonWidthError = 0.01;

    // Share of the correction for neighboring colors' light that is taken as its standard uncertainty: found on simulated spectra.
    private const double NeighborShare = 0.15;

    // Bins of the first tries, which only rank choices of signs: two to every function of the curve.
    private const int FewBins = 2 * SplineBasis.Functions;

    // Squared misfit that the bend of the model may make over the errors' reach, where straight refits are as good as others: if all of it
    // fell on one unknown, that one's bar would be short by a ninth.
    private const double Straight = 0.25;

    // Choices of signs that are fitted with all that mixes into the profiles.
    private const int Most = 8;

    // Rounds of the neighbors' light at most, and the share of a depth of focus below which a round moves the curve by nothing.
    private const int MostTurns = 3;
    private const double Settled = 0.003;

    private readonly ColorFocusInput input;
    private readonly ColorFocusRequest request;
    private readonly RunContext context;
    private readonly int[] bins;
    private readonly double[] nm;
    private readonly double low, high, depth;
    private readonly bool hinted;
    private readonly int at;
    private readonly SplineBasis basis;
    private readonly SignedCurveFit curve;
    private readonly int[] few; // of the bins: enough to tell choices of signs apart
    private readonly SignedCurveFit rough;
    private readonly double[][] rows;
    private NeighborCorrection? neighbors;
    private bool? behindSlit;
    private (double[] Head, SplineCurve Curve)[] known = [];
    private CurvePriors priors;

    private SingleSpectrumFit(ColorFocusInput input, ColorFocusRequest request, RunContext context)
    {
        (this.input, this.request, this.context) = (input, request, context);
        bins = [.. Enumerable.Range(0, input.Bins).Where(j => input.Used[j])];
        nm = [.. bins.Select(j => input.Nm[j])];
        (low, high) = (nm.Min(), nm.Max());
        basis = new SplineBasis(low, high);
        rows = [.. nm.Select(basis.At)];
        curve = new SignedCurveFit(nm, rows);
        int each = Math.Max(1, bins.Length / FewBins);
        few = [.. Enumerable.Range(0, bins.Length).Where(k => k % each == each / 2)];
        rough = new SignedCurveFit([.. few.Select(k => nm[k])], [.. few.Select(k => rows[k])]);
        hinted = double.IsFinite(request.DefocusUm) && request.DefocusUm != 0;
        depth = 2 * 0.55 * request.FocalRatio * request.FocalRatio;
        at = Enumerable.Range(0, nm.Length).MinBy(k => Math.Abs(nm[k] - request.ReferenceNm));
        priors = new CurvePriors(input.Blur(request), 0, 3, 0);
    }

    /// <summary>Fits one spectrum.</summary>
    public static ColorFocusResult Fit(ColorFocusInput input, ColorFocusRequest request, RunContext context) =>
        new SingleSpectrumFit(input, request, context).Run();

    private ColorFocusResult Run()
    {
        (double[] size, double smallest) = SignPatterns.FromWidths(input, request, bins);
        double top = Math.Max(size.Max(), depth);
        priors = priors with { LogSeeing = Math.Log(Math.Max(0.8, smallest / 0.5)), Walk = 20 * top };
        List<(ProfileFit Fit, List<ProfileBlock> Blocks)> tried = FirstTries(size, top);
        double[] first = Smooth(tried[0].Fit.X);
        List<Trial> judged = Judge(tried);
        (ProfileFit best, List<ProfileBlock> blocks) = (judged[0].Fit, judged[0].Blocks);
        if (Leaves(best))
        {
            return Without([.. judged.Select(t => t.Fit)]);
        }

        List<double[]> rivals = Rivals(judged);
        priors = priors with { Walk = judged[0].Walk };
        best = Final(blocks, best.X, context, priors);

        // Read now: the colors' own sizes are found on the same blocks.
        double scale = best.Scale;
        double[] smooth = Smooth(best.X);
        double sign = SignOfTheWhole.Orient(input, bins, nm, ref smooth, request);
        double[][] replicates = Replicates(best, blocks, sign);
        AddCommonErrors(replicates, best.X, smooth, first, sign);
        (double[] own, double[] error) = OwnSizes(best.X, scale, blocks, smooth);

        double[] whole = [.. bins.Select((j, k) =>
            Math.Sqrt(Math.Pow(error[k], 2) + Math.Pow(CurveAssembly.Spread(replicates.Select(r => Math.Abs(r[j]))), 2)))];
        double[] openSign = OpenSigns.Find(request, bins, input, smooth, whole, Math.Exp(best.X[0]) * input.PitchUm, rivals);

        // A size whose sign is open lies below what depth of focus and seeing hide: it cannot be told from none.
        double[] sizeError = [.. Enumerable.Range(0, input.Bins).Select(j =>
        {
            double scatter = CurveAssembly.Spread(replicates.Select(r => Math.Abs(r[j])));
            return openSign[j] > 0 ? Math.Sqrt((scatter * scatter) + (smooth[j] * smooth[j])) : scatter;
        })];
        bool decided = OpenSigns.Say(input, bins, smooth, openSign, at);
        OpenSigns.Widen(replicates, openSign, request.Seed);
        SayWhatIsFar(smooth, top);

        // The fit's unknown is best focus minus sensor; that is the curve's own sign.
        double[][] perBin = [.. replicates.Select(r => bins.Select(j => r[j]).ToArray())];
        Measured blur = SeeingLaw.Blur(best.X[2], scale * Math.Sqrt(best.Covariance[2, 2]), input.PitchUm);
        return CurveAssembly.Assemble(input, request, bins, own, error, perBin, [Math.Exp(best.X[0]) * input.PitchUm],
            request.PositionsUm.Length == 1 ? request.PositionsUm : [0], scale, Measured.None(""), null,
                new SingleCurve(smooth, replicates, openSign, sizeError, decided)) with
        {
            InstrumentBlur = blur,
        };
    }

    /// <summary>Whether a fit leaves colors beyond the window, which are left out of the input then.</summary>
    private bool Leaves(ProfileFit fit) => WindowReach.Keep(input, request, bins, curve.Curve(fit.X)).Length < bins.Length;

    /// <summary>The choices of signs are known by now; without the colors that are left out only their curves are fitted again.</summary>
    private ColorFocusResult Without(ProfileFit[] fits) => new SingleSpectrumFit(input, request, context)
    {
        known = [.. fits.Select(f => (f.X[..Head], new SplineCurve(basis, f.X[Head..])))],
        behindSlit = behindSlit,
    }.Run();

    private List<ProfileBlock> Blocks(int[]? of = null) =>
        [.. (of is null ? bins : of.Select(k => bins[k])).Select(j => input.Block(0, j, request, request.FocalRatio, null, neighbors))];

    private double[] Smooth(double[] x) =>
        [.. input.Nm.Select(w => w >= low && w <= high ? SplineBasis.Dot(basis.At(w), x[Head..]) : double.NaN)];

    /// <summary>How far a curve's distance from the sensor departs from the one that was set, in squared standard deviations; the
    /// setting is taken to be good to a third.</summary>
    private double HintMisfit(ProfileFit fit)
    {
        if (!hinted)
        {
            return 0;
        }

        double hint = Math.Abs(request.DefocusUm), off = (Math.Abs(SplineBasis.Dot(rows[at], fit.X[Head..])) - hint) / (hint / 3);
        return off * off;
    }

    /// <summary>Every choice of signs as a curve of its own, without the neighbors' light; the best first.</summary>
    private List<(ProfileFit Fit, List<ProfileBlock> Blocks)> FirstTries(double[] size, double top)
    {
        var tried = new List<(ProfileFit Fit, List<ProfileBlock> Blocks)>();
        if (known.Length > 0)
        {
            double[] sure = [.. nm.Select(_ => Math.Max(0.01 * top, 1))];
            tried.AddRange(SideBySide(known, (k, run) => rough.Try(Blocks(few), priors,
                [.. k.Head, .. SplineSmoother.Fit(basis, nm, [.. nm.Select(k.Curve.At)], sure).Coefficients], run, SignedCurveFit.Ranking)));
            return [.. tried.OrderBy(t => t.Fit.ChiSquare + HintMisfit(t.Fit))];
        }

        void TryAll(double[] sizes, double[] head, double share)
        {
            double[] even = [.. nm.Select(_ => Math.Max(share * top, 1))];
            List<double[]> candidates = SignPatterns.All(sizes, hinted ? Math.Max(top, 3 * Math.Abs(request.DefocusUm)) : top);
            tried.AddRange(SideBySide(candidates, (c, run) =>
                rough.Try(Blocks(few), priors, [.. head, .. SplineSmoother.Fit(basis, nm, c, even).Coefficients], run, SignedCurveFit.Ranking)));
        }

        TryAll(size, [priors.LogSeeing, SeeingLaw.Exponent, priors.Blur.Mean], 0.1);
        if (hinted)
        {
            // Widths give rough sizes, from which a steep crossing far from focus may end in a false minimum: every choice once more
            // from the sizes, the seeing and the blur of the best.
            double[] best = tried.MinBy(t => t.Fit.ChiSquare + HintMisfit(t.Fit)).Fit.X;
            TryAll([.. curve.Curve(best).Select(Math.Abs)], best[..Head], 0.01);
        }

        return [.. tried.OrderBy(t => t.Fit.ChiSquare + HintMisfit(t.Fit))];
    }

    /// <summary>All that could still win, fitted with what neighboring colors mix into each profile; the best by the evidence first.</summary>
    private List<Trial> Judge(List<(ProfileFit Fit, List<ProfileBlock> Blocks)> ranked)
    {
        var apart = SignPatterns.Distinct(ranked, rows, Most);

        double[] x = ranked[0].Fit.X;
        if (behindSlit is null)
        {
            // The neighbors' light is that of the best curve so far; the profiles tell whether a slit kept other colors' discs out.
            var trials = new ProfileFit[2];
            var light = new double[2][][][];
            for (int slit = 0; slit < 2; slit++)
            {
                light[slit] = Neighbors(x, slit == 1);
                neighbors = new NeighborCorrection(light[slit], light[0]);
                (trials[slit], _) = curve.Try(Blocks(), priors, x, context);
            }

            behindSlit = NeighborLight.BehindSlit(trials[1], trials[0]);
            int chosen = behindSlit.Value ? 1 : 0;
            x = trials[chosen].X;
            neighbors = new NeighborCorrection(light[chosen], light[chosen]);
        }

        for (int turn = 0; turn < MostTurns; turn++)
        {
            // That light came from a curve that had it still in: again from the better one, until it stays.
            double[][][] found = Neighbors(x, behindSlit.Value);
            neighbors = new NeighborCorrection(found, found);
            double[] next = curve.Try(Blocks(), priors, x, context).Fit.X, before = curve.Curve(x), after = curve.Curve(next);
            x = next;
            if (Robust.Median(after.Select((v, k) => Math.Abs(v - before[k]))) < Settled * depth)
            {
                break;
            }
        }

        // Between signs decides not the misfit alone but the evidence, which counts how far a curve must walk.
        (ProfileFit Fit, List<ProfileBlock> Blocks)[] again = SideBySide(apart, (t, run) => curve.Try(Blocks(), priors, t.Fit.X, run));
        double noise = Math.Max(1, Math.Pow(again.Min(t => t.Fit.Scale), 2));
        return [.. again.Select(t =>
        {
            (double walk, double score) = SignedCurveFit.Smoothness(t.Fit, priors.Walk, noise);
            return new Trial(t.Fit, t.Blocks, walk, score + (t.Fit.ProfileChiSquare / noise) + HintMisfit(t.Fit), noise);
        }).OrderBy(t => t.Score)];
    }

    private double[][][] Neighbors(double[] x, bool slit)
    {
        double[] c = x[Head..];
        return NeighborLight.Find(input, request, w => SplineBasis.Dot(basis.Continued(w), c), [0],
            (_, w) => Math.Exp(x[0] + (x[1] * Math.Log(w / 550))), x[2], slit, context);
    }

    /// <summary>Other curves that the data do not exclude.</summary>
    private List<double[]> Rivals(List<Trial> judged)
    {
        (ProfileFit best, List<ProfileBlock> blocks, _, _, double noise) = judged[0];

        // What the model leaves unexplained could speak for another curve as well: a twentieth of it, our own choice.
        double unexplained = 0.05 * Math.Max(0, best.ProfileChiSquare - best.DegreesOfFreedom);
        List<double[]> rivals = SignPatterns.Rivals([.. judged.Select(t => (t.Fit, t.Score))], rows, unexplained);
        double[] fitted = curve.Curve(best.X);
        if (hinted || fitted.Min(Math.Abs) <= depth)
        {
            return rivals;
        }

        // A defocus that all colors share, for which a wider seeing could stand.
        double[] focused = CommonDefocus.Removed(fitted);
        double[] c = SplineSmoother.Fit(basis, nm, focused, [.. nm.Select(_ => 0.01 * depth)]).Coefficients;
        ProfileFit held = curve.New(Blocks(), priors, c);
        held.Run([priors.LogSeeing, SeeingLaw.Exponent, priors.Blur.Mean, .. c], context, 30, reweight: false, covariance: false);
        double against = (held.ProfileChiSquare - best.ProfileChiSquare) / noise;
        if (against < SignPatterns.Decided + (CommonDefocus.ShapeAllowance(blocks) / noise))
        {
            rivals.Add(focused);
        }

        return rivals;
    }

    private ProfileFit Final(List<ProfileBlock> blocks, double[] from, RunContext run, CurvePriors known, bool reweight = true, bool covariance = true,
        Random? scatter = null)
    {
        ProfileFit fit = curve.New(blocks, known);
        if (scatter is not null)
        {
            fit.ScatterPriors(scatter);
        }

        fit.Run(from, run, reweight ? 40 : 15, reweight, covariance, scatter is not null, damping: ProfileFit.Warm);
        return fit;
    }

    /// <summary>Refits with residuals of random sign: near focus the errors are no Gaussians, so no shortcut there.</summary>
    private double[][] Replicates(ProfileFit best, List<ProfileBlock> blocks, double sign)
    {
        int count = Math.Min(request.Replicates, 60);
        if (best.Bend(nm, request.FocalRatio) < Straight)
        {
            return [.. best.LinearBootstrap(count, request.Seed, context).Select(x => Smooth(x).Select(v => sign * v).ToArray())];
        }

        var replicates = new double[count][];
        double[] from = best.X;
        var spread = Enumerable.Range(0, blocks.Count).Select(best.Variances).ToArray();
        var single = new RunContext(1, null, context.Cancel);
        Parallel.For(0, replicates.Length, context.Parallel, b =>
        {
            Random random = RandomStream.Of(request.Seed, b);
            List<ProfileBlock> fake = [.. blocks.Select((k, i) => k.Resample(random, spread[i]))];

            // Exponent, blur and smoothness are not known better than their priors: let the replicates roam over them.
            double[] values = Smooth(Final(fake, from, single, priors, false, false, random).X);
            replicates[b] = [.. values.Select(v => sign * v)];
        });
        return replicates;
    }

    /// <summary>Errors that all colors share bend the whole curve, which resampled residuals cannot show: the replicates roam along what a
    /// width held a little wider and narrower, and what a part of the neighbors' light, would do.</summary>
    private void AddCommonErrors(double[][] replicates, double[] x, double[] smooth, double[] first, double sign)
    {
        double[] Held(double by)
        {
            CurvePriors held = priors with { LogSeeing = x[0] + by, LogSeeingSigma = 1e-4 };
            return [.. Smooth(Final(Blocks(), [x[0] + by, .. x[1..]], context, held, false, false).X).Select(v => sign * v)];
        }

        double[] wider = Held(CommonWidthError), narrower = Held(-CommonWidthError);
        double flip = bins.Sum(j => first[j] * sign * smooth[j]) < 0 ? -sign : sign;
        double[] moved = [.. first.Select((v, j) => smooth[j] - (flip * v))];
        Random common = RandomStream.Of(request.Seed, -17);
        foreach (double[] replicate in replicates)
        {
            double share = ProfileFit.Gaussian(common), mixed = NeighborShare * ProfileFit.Gaussian(common);
            for (int j = 0; j < replicate.Length; j++)
            {
                replicate[j] += (share * 0.5 * (wider[j] - narrower[j])) + (mixed * moved[j]);
            }
        }
    }

    /// <summary>Each bin on its own, from its own profile at the common seeing, with the curve's sign.</summary>
    private (double[] Own, double[] Error) OwnSizes(double[] x, double scale, List<ProfileBlock> blocks, double[] smooth)
    {
        ProfileModel.Work work = blocks[0].Model.NewWork();
        double[] own = new double[bins.Length], error = new double[bins.Length];
        for (int k = 0; k < bins.Length; k++)
        {
            double seeing = Math.Exp(x[0] + (x[1] * Math.Log(nm[k] / 550)));
            (own[k], error[k]) = OwnSize.Find(blocks[k], Math.Abs(smooth[bins[k]]), seeing, x[2], scale, request.FocalRatio, nm[k], work);
            own[k] *= Math.Sign(smooth[bins[k]] == 0 ? 1 : smooth[bins[k]]);
        }

        return (own, error);
    }

    private void SayWhatIsFar(double[] smooth, double top)
    {
        double closest = bins.Min(j => Math.Abs(smooth[j]));
        if (!hinted && closest > Math.Max(2 * depth, 0.1 * top))
        {
            input.Notes.Add(ColorFocusNotes.NoTouch.Say(
                $"The sharpest color is still {closest:0} um out of focus (depth of focus +-{depth:0} um), so seeing and a common defocus cannot be told " +
                    "apart. Focus on green light first, or take a focus run."));
        }
    }

    /// <summary>Several fits at once, each on one thread: a fit's own work is too little to be shared.</summary>
    private TResult[] SideBySide<T, TResult>(IReadOnlyList<T> from, Func<T, RunContext, TResult> fit)
    {
        var results = new TResult[from.Count];
        var single = new RunContext(1, null, context.Cancel);
        Parallel.For(0, from.Count, context.Parallel, i => results[i] = fit(from[i], single));
        return results;
    }

    /// <summary>A curve as known before some colors were left out.</summary>
    private sealed record SplineCurve(SplineBasis Basis, double[] Coefficients)
    {
        public double At(double nm) => SplineBasis.Dot(Basis.At(nm), Coefficients);
    }

    /// <summary>A choice of signs as fitted: how far its curve walks, its evidence (less is better), and the noise in units of the stated one.</summary>
    private sealed record Trial(ProfileFit Fit, List<ProfileBlock> Blocks, double Walk, double Score, double Noise);
}
