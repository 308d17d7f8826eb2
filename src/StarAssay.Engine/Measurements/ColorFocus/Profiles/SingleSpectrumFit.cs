using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>
/// Size of the defocus of every color in one spectrum, and a smooth signed curve through it.
/// </summary>
/// <remarks>Profiles tell only the size of the defocus. A smooth curve passes through zero where the size touches zero, or
/// turns back there: every way of choosing is tried as a smooth curve on the profiles themselves, with the spectrograph's own blur
/// free in each, and the best kept. The sign of the whole remains open without a hint.</remarks>
internal static class SingleSpectrumFit
{
    /// <summary>Unknowns before the curve's own: log seeing at 550 nm, its exponent, the spectrograph's blur.</summary>
    internal const int Head = 3;

    /// <summary>Relative error of the seeing width that all colors share: real profiles are not exactly the model's. Our own choice.</summary>
    private const double CommonWidthError = 0.01;

    // Share of the correction for neighboring colors' light that is taken as its standard uncertainty: found on simulated spectra.
    private const double NeighborShare = 0.15;

    public static ColorFocusResult Fit(ColorFocusInput input, ColorFocusRequest request, RunContext context)
    {
        int[] bins = [.. Enumerable.Range(0, input.Bins).Where(j => input.Used[j])];
        double[] nm = [.. bins.Select(j => input.Nm[j])];
        double low = nm.Min(), high = nm.Max();
        var basis = new SplineBasis(low, high);
        double[][] rows = [.. nm.Select(basis.At)];
        double[][]? neighbors = null;
        List<ProfileBlock> Make() => [.. bins.Select(j => input.Block(0, j, request, request.FocalRatio, null, neighbors?[j]))];

        bool hinted = double.IsFinite(request.DefocusUm) && request.DefocusUm != 0;
        (double[] size, double smallest) = SignPatterns.FromWidths(input, request, bins);
        double depth = 2 * 0.55 * request.FocalRatio * request.FocalRatio;
        double top = Math.Max(size.Max(), depth);
        var setup = new Setup(input.Blur(request), Math.Log(Math.Max(0.8, smallest / 0.5)), 3, 20 * top);
        var tried = new List<(ProfileFit Fit, List<ProfileBlock> Blocks)>();
        void TryAll(double[] sizes, double[] head, double share)
        {
            double[] even = [.. nm.Select(_ => Math.Max(share * top, 1))];
            List<double[]> candidates = SignPatterns.All(sizes, hinted ? Math.Max(top, 3 * Math.Abs(request.DefocusUm)) : top);
            tried.AddRange(SideBySide(candidates, (c, run) =>
                Try(Make(), nm, rows, setup, [.. head, .. SplineSmoother.Fit(basis, nm, c, even).Coefficients], run), context));
        }

        TryAll(size, [setup.LogSeeing, SeeingLaw.Exponent, setup.Blur.Mean], 0.1);

        int at = Enumerable.Range(0, nm.Length).MinBy(k => Math.Abs(nm[k] - request.ReferenceNm));
        double Side(ProfileFit fit) => hinted ? HintMisfit(SplineBasis.Dot(rows[at], fit.X[Head..]), request.DefocusUm) : 0;
        double[] Smooth(double[] x) => [.. input.Nm.Select(w => w >= low && w <= high ? SplineBasis.Dot(basis.At(w), x[Head..]) : double.NaN)];

        if (hinted)
        {
            // Widths give rough sizes, from which a steep crossing far from focus may end in a false minimum: every choice once more
            // from the sizes, the seeing and the blur of the best.
            double[] rough = tried.MinBy(t => t.Fit.ChiSquare + Side(t.Fit)).Fit.X;
            TryAll([.. rows.Select(r => Math.Abs(SplineBasis.Dot(r, rough[Head..])))], rough[..Head], 0.01);
        }

        var ranked = tried.OrderBy(t => t.Fit.ChiSquare + Side(t.Fit)).ToList();

        // What neighboring colors mix into each profile, as the best curve so far has it; then once more all that could still win.
        double[] first = Smooth(ranked[0].Fit.X);
        // The profiles tell whether a slit kept other colors' discs out.
        var apart = SignPatterns.Distinct(ranked, rows, 8);
        ProfileFit[] trials = new ProfileFit[2];
        double[][][] light = new double[2][][];
        for (int slit = 0; slit < 2; slit++)
        {
            neighbors = light[slit] = Neighbors(input, request, basis, ranked[0].Fit.X, slit == 1, context);
            (trials[slit], _) = Try(Make(), nm, rows, setup, ranked[0].Fit.X, context);
        }

        neighbors = light[NeighborLight.BehindSlit(trials[1], trials[0]) ? 1 : 0];
        // Between signs decides not the misfit alone but the evidence, which counts how far a curve must walk.
        (ProfileFit Fit, List<ProfileBlock> Blocks)[] again = SideBySide(apart, (t, run) => Try(Make(), nm, rows, setup, t.Fit.X, run), context);
        double noise = Math.Max(1, Math.Pow(again.Min(t => t.Fit.Scale), 2));
        var judged = again.Select(t => (t.Fit, t.Blocks, Smooth: Smoothness(t.Fit, setup.Walk, noise))).Select(t => (t.Fit, t.Blocks, t.Smooth.Walk,
            Score: t.Smooth.Score + (t.Fit.ProfileChiSquare / noise) + Side(t.Fit))).OrderBy(t => t.Score).ToList();
        ranked = [.. judged.Select(t => (t.Fit, t.Blocks))];
        (ProfileFit best, List<ProfileBlock> bestBlocks) = ranked[0];
        if (WindowReach.Keep(input, request, bins, [.. rows.Select(r => SplineBasis.Dot(r, best.X[Head..]))]).Length < bins.Length)
        {
            return Fit(input, request, context);
        }

        // What the model leaves unexplained could speak for another curve as well: a twentieth of it, our own choice.
        double unexplained = 0.05 * Math.Max(0, best.ProfileChiSquare - best.DegreesOfFreedom);
        List<double[]> rivals = SignPatterns.Rivals([.. judged.Select(t => (t.Fit, t.Score))], rows, unexplained);
        double[] fitted = [.. rows.Select(r => SplineBasis.Dot(r, best.X[Head..]))];
        if (!hinted && fitted.Min(Math.Abs) > depth && SeeingWouldDo(CommonDefocus.Removed(fitted)))
        {
            rivals.Add(CommonDefocus.Removed(fitted));
        }

        bool SeeingWouldDo(double[] curve)
        {
            double[] c = SplineSmoother.Fit(basis, nm, curve, [.. nm.Select(_ => 0.01 * depth)]).Coefficients;
            ProfileFit held = NewFit(Make(), nm, rows, setup, c);
            held.Run([setup.LogSeeing, SeeingLaw.Exponent, setup.Blur.Mean, .. c], context, 30, reweight: false, covariance: false);
            double against = (held.ProfileChiSquare - best.ProfileChiSquare) / noise;
            return against < SignPatterns.Decided + (CommonDefocus.ShapeAllowance(bestBlocks) / noise);
        }

        setup = setup with { Walk = judged[0].Walk };
        ProfileFit Final(List<ProfileBlock> blocks, double[] from, RunContext run, Setup s, bool reweight = true, bool covariance = true,
            Random? scatter = null)
        {
            ProfileFit fit = NewFit(blocks, nm, rows, s);
            if (scatter is not null)
            {
                fit.ScatterPriors(scatter);
            }

            fit.Run(from, run, reweight ? 40 : 15, reweight, covariance);
            return fit;
        }

        best = Final(bestBlocks, best.X, context, setup);
        double scale = best.Scale;
        double[] smooth = Smooth(best.X);
        double sign = SignOfTheWhole.Orient(input, bins, nm, ref smooth, request);

        // Refits with residuals of random sign: near focus the errors are no Gaussians, so no shortcut.
        int count = Math.Min(request.Replicates, 60);
        var replicates = new double[count][];
        double[] x0 = best.X;
        var spread = Enumerable.Range(0, bestBlocks.Count).Select(best.Variances).ToArray();
        var single = new RunContext(1, null, context.Cancel);
        Parallel.For(0, count, context.Parallel, b =>
        {
            var random = new Random(unchecked((request.Seed * 104729) + b));
            List<ProfileBlock> fake = [.. bestBlocks.Select((k, i) => k.Resample(random, spread[i]))];
            // Exponent, blur and smoothness are not known better than their priors: let the replicates roam over them.
            double[] values = Smooth(Final(fake, x0, single, setup, false, false, random).X);
            replicates[b] = [.. values.Select(v => sign * v)];
        });

        // Errors that all colors share bend the whole curve, which resampled residuals cannot show: the replicates roam along what a
        // width held a little wider and narrower, and what a part of the neighbors' light, would do.
        double[] Held(double by)
        {
            Setup held = setup with { LogSeeing = x0[0] + by, LogSeeingSigma = 1e-4 };
            return [.. Smooth(Final(Make(), [x0[0] + by, .. x0[1..]], context, held, false, false).X).Select(v => sign * v)];
        }

        double[] wider = Held(CommonWidthError), narrower = Held(-CommonWidthError);
        double flip = bins.Sum(j => first[j] * sign * smooth[j]) < 0 ? -sign : sign;
        double[] moved = [.. first.Select((v, j) => smooth[j] - (flip * v))];
        var common = new Random(unchecked((request.Seed * 7919) + 17));
        foreach (double[] replicate in replicates)
        {
            double share = ProfileFit.Gaussian(common), mixed = NeighborShare * ProfileFit.Gaussian(common);
            for (int j = 0; j < replicate.Length; j++)
            {
                replicate[j] += (share * 0.5 * (wider[j] - narrower[j])) + (mixed * moved[j]);
            }
        }

        // Each bin on its own: size from its own profile at the common seeing.
        double[] own = new double[bins.Length], error = new double[bins.Length];
        var work = bestBlocks[0].Model.NewWork();
        for (int k = 0; k < bins.Length; k++)
        {
            double seeing = Math.Exp(best.X[0] + (best.X[1] * Math.Log(nm[k] / 550)));
            (own[k], error[k]) = OwnSize(bestBlocks[k], Math.Abs(smooth[bins[k]]), seeing, best.X[2], scale, request.FocalRatio, nm[k], work);
            own[k] *= Math.Sign(smooth[bins[k]] == 0 ? 1 : smooth[bins[k]]);
        }

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

        double closest = bins.Min(j => Math.Abs(smooth[j]));
        if (!hinted && closest > Math.Max(2 * depth, 0.1 * top))
        {
            input.Notes.Add(ColorFocusNotes.NoTouch.Say(
                $"The sharpest color is still {closest:0} um out of focus (depth of focus +-{depth:0} um), so seeing and a common defocus cannot be told " +
                    "apart. Focus on green light first, or take a focus run."));
        }

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

    /// <summary>Several fits at once, each on one thread: a fit's own work is too little to be shared.</summary>
    private static TResult[] SideBySide<T, TResult>(IReadOnlyList<T> from, Func<T, RunContext, TResult> fit, RunContext context)
    {
        var results = new TResult[from.Count];
        var single = new RunContext(1, null, context.Cancel);
        Parallel.For(0, from.Count, context.Parallel, i => results[i] = fit(from[i], single));
        return results;
    }

    private static (ProfileFit Fit, List<ProfileBlock> Blocks) Try(List<ProfileBlock> blocks, double[] nm, double[][] rows, Setup setup, double[] start,
        RunContext context)
    {
        ProfileFit fit = NewFit(blocks, nm, rows, setup);
        fit.Run(start, context, 30, reweight: false, covariance: false);
        return (fit, blocks);
    }

    private static double[][] Neighbors(ColorFocusInput input, ColorFocusRequest request, SplineBasis basis, double[] x, bool slit, RunContext context)
    {
        double[] c = x[Head..];
        return NeighborLight.Find(input, request, w => SplineBasis.Dot(basis.At(w), c), [0], (_, w) => Math.Exp(x[0] + (x[1] * Math.Log(w / 550))), x[2], slit,
            context)[0];
    }

    /// <summary>How far a curve's distance from the sensor departs from the one that was set, in squared standard deviations; the
    /// setting is taken to be good to a third.</summary>
    private static double HintMisfit(double focusMinusSensor, double hint)
    {
        double off = (Math.Abs(focusMinusSensor) - Math.Abs(hint)) / (Math.Abs(hint) / 3);
        return off * off;
    }

    /// <summary>Size of the curve's walk by restricted maximum likelihood, from the normal equations at the best point, and minus twice
    /// the logarithm of that likelihood without the misfit at that point.</summary>
    private static (double Walk, double Score) Smoothness(ProfileFit fit, double walk, double unit)
    {
        (Matrix<double> h, double[] g) = fit.DataNormal();
        double best = double.MaxValue, kept = walk;
        for (double log = -14; log <= 3; log += 0.5)
        {
            double size = walk * Math.Exp(log);
            Matrix<double> whole = h.Divide(unit);
            Vector<double> right = Vector<double>.Build.Dense(g.Length, i => g[i] / unit);
            var precision = new double[g.Length];
            double scatter = 0;
            for (int i = 0; i < g.Length; i++)
            {
                double variance = i < Head ? double.PositiveInfinity : size * size * SplineBasis.Variance(i - Head);
                precision[i] = double.IsFinite(variance) ? 1 / variance : 0;
                scatter += double.IsFinite(variance) ? Math.Log(variance) : 0;
                right[i] -= precision[i] * fit.X[i];
                whole[i, i] += precision[i] + 1e-9;
            }

            double[] d = [.. Enumerable.Range(0, g.Length).Select(i => 1 / Math.Sqrt(whole[i, i]))];
            var cholesky = Matrix<double>.Build.Dense(g.Length, g.Length, (i, j) => (whole[i, j] * d[i] * d[j]) + (i == j ? 1e-11 : 0)).Cholesky();
            Vector<double> step = cholesky.Solve(Vector<double>.Build.Dense(g.Length, i => right[i] * d[i]));
            double gain = 0, walked = 0;
            for (int i = 0; i < g.Length; i++)
            {
                gain += right[i] * step[i] * d[i];
                walked += precision[i] * fit.X[i] * fit.X[i];
            }

            double score = walked - gain + cholesky.DeterminantLn - (2 * d.Sum(Math.Log)) + scatter;
            if (score < best)
            {
                (best, kept) = (score, size);
            }
        }

        return (kept, best);
    }

    /// <summary>A fit of the curve, or of seeing and blur alone where the curve's coefficients are given.</summary>
    private static ProfileFit NewFit(List<ProfileBlock> blocks, double[] nm, double[][] rows, Setup setup, double[]? held = null)
    {
        int n = SplineBasis.Count + Head;
        int[] index = [.. Enumerable.Range(Head, SplineBasis.Count)];
        var defocus = rows.Select(r => new LinearMap(index, [.. r.Select(t => -t)], 0)).ToList();
        var seeing = nm.Select(w => new LinearMap([0, 1], [1, Math.Log(w / 550)], 0)).ToList();
        var blur = nm.Select(_ => new LinearMap([2], [1], 0)).ToList();
        var mean = new double[n];
        var sigma = new double[n];
        (mean[0], sigma[0]) = (setup.LogSeeing, setup.LogSeeingSigma);
        (mean[1], sigma[1]) = (SeeingLaw.Exponent, SeeingLaw.ExponentSigma);
        (mean[2], sigma[2]) = setup.Blur;
        for (int k = 0; k < SplineBasis.Count; k++)
        {
            // Nothing holds the parabola; 10 m keep the equations sound where a color's focus has no slope.
            sigma[Head + k] = held is null ? Math.Min(10 * ProfileFit.Flat, setup.Walk * Math.Sqrt(SplineBasis.Variance(k))) : 1e-3;
            mean[Head + k] = held?[k] ?? 0;
        }

        return new ProfileFit(blocks, defocus, seeing, blur, mean, sigma);
    }

    private static (double Size, double Error) OwnSize(ProfileBlock block, double start, double seeing, double blur, double scale, double focalRatio,
        double nm, ProfileModel.Work work)
    {
        // In q = z^2 the profile is regular at focus, so steps and errors are taken there.
        double unit = 0.3 * 8 * focalRatio * focalRatio * nm / 1000;
        double z = start;
        double h = 0;
        for (int turn = 0; turn < 8; turn++)
        {
            double at = Math.Max(z, 0.2 * unit);
            block.Propose(0, 0, 0);
            block.Evaluate(at, seeing, blur, work);
            block.Accept();
            block.Linearize();
            double slope = 1 / (2 * at);
            h = block.H[0, 0] * slope * slope;
            double step = h > 0 ? block.G[0] * slope / h : 0;
            double q = Math.Max(0, (at * at) + Math.Clamp(step, -0.5 * ((at * at) + (unit * unit)), 0.5 * ((at * at) + (unit * unit))));
            z = Math.Sqrt(q);
        }

        double sigmaQ = h > 0 ? scale / Math.Sqrt(h) : double.NaN;
        double error = Math.Min(sigmaQ / (2 * Math.Max(z, 1e-9)), Math.Sqrt(sigmaQ));
        return (z, error);
    }

    /// <summary>What is known before the fit: blur and its deviation, seeing and its own, and how far the curve may walk.</summary>
    private sealed record Setup((double Mean, double Sigma) Blur, double LogSeeing, double LogSeeingSigma, double Walk);
}
