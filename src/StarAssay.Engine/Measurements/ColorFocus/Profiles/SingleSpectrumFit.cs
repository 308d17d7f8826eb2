using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>
/// Size of the defocus of every color in one spectrum, and a smooth signed curve through it.
/// </summary>
/// <remarks>Profiles tell only the size of the defocus. A smooth curve passes through zero where the size touches zero, or
/// turns back there: every way of choosing is tried as a smooth curve on the profiles themselves, and the best kept. The sign of
/// the whole remains open without a hint.</remarks>
internal static class SingleSpectrumFit
{
    private const int Degree = 6;

    /// <summary>Relative error of the seeing width that all colors share: real profiles are not exactly the model's. Our own choice.</summary>
    private const double CommonWidthError = 0.02;

    public static ColorFocusResult Fit(ColorFocusInput input, ColorFocusRequest request, RunContext context)
    {
        int[] bins = [.. Enumerable.Range(0, input.Bins).Where(j => input.Used[j])];
        double[] nm = [.. bins.Select(j => input.Nm[j])];
        var curve = new SmoothCurve(nm.Min(), nm.Max());
        int degree = Math.Min(Degree, (bins.Length / 4) + 1);
        ProfileGrid[] grids = input.Grids();
        List<ProfileBlock> Make() => [.. bins.Select(j => input.Block(grids, 0, j, request, request.FocalRatio))];

        bool hinted = double.IsFinite(request.DefocusHintUm) && request.DefocusHintUm != 0;
        (double[] size, double smallest) = SignPatterns.FromWidths(input, request, bins);
        double startSeeing = Math.Log(Math.Max(0.8, smallest / 0.5));
        double top = size.Max();
        List<double[]> signed = SignPatterns.All(size, hinted ? Math.Max(top, 3 * Math.Abs(request.DefocusHintUm)) : top);
        var tried = new List<(ProfileFit Fit, List<ProfileBlock> Blocks)>();
        double[] even = [.. nm.Select(_ => Math.Max(0.1 * top, 1))];
        foreach (double[] candidate in signed)
        {
            context.Cancel.ThrowIfCancellationRequested();
            double[] c = (curve.Operator(nm, even, degree) * MathNet.Numerics.LinearAlgebra.Vector<double>.Build.DenseOfArray(candidate)).ToArray();
            List<ProfileBlock> blocks = Make();
            ProfileFit fit = NewFit(blocks, nm, curve, degree, startSeeing);
            double[] start = [startSeeing, 0, .. c];
            fit.Run(start, context, 30, reweight: false);
            tried.Add((fit, blocks));
        }

        int at = Enumerable.Range(0, nm.Length).MinBy(k => Math.Abs(nm[k] - request.ReferenceNm));
        double Side(ProfileFit fit) => hinted ? HintMisfit(SmoothCurve.Dot(curve.Basis(nm[at], degree), fit.X[2..]), request.DefocusHintUm) : 0;
        var ranked = tried.OrderBy(t => t.Fit.ChiSquare + Side(t.Fit)).ToList();
        (ProfileFit best, List<ProfileBlock> bestBlocks) = ranked[0];
        best.Run(best.X, context, 40);
        double scale = best.Scale;
        double[] Smooth(double[] x) => [.. input.Nm.Select(w => SmoothCurve.Dot(curve.Basis(Math.Clamp(w, nm.Min(), nm.Max()), degree), x[2..]))];
        double[] smooth = Smooth(best.X);
        double sign = SignOfTheWhole.Orient(input, bins, nm, ref smooth, request);
        bool rival = SignPatterns.HasRival(ranked, best, nm, curve, degree);

        // Refits with residuals of random sign: near focus the errors are no Gaussians, so no shortcut.
        int count = Math.Min(request.Replicates, 60);
        var replicates = new double[count][];
        double[] x0 = best.X;
        var spread = Enumerable.Range(0, bestBlocks.Count).Select(best.Variances).ToArray();
        var single = new RunContext(1, null, context.Cancel);
        Parallel.For(0, count, context.Parallel, b =>
        {
            var random = new Random(unchecked((request.Seed * 104729) + b));
            List<ProfileBlock> fake = [.. bestBlocks.Select((k, i) => k.Resample(random, spread[i].Vzz, spread[i].Vzs, spread[i].Vss))];
            ProfileFit refit = NewFit(fake, nm, curve, degree, startSeeing);
            // The exponent of the seeing is not known better than its prior: let the replicates roam over it.
            refit.ShiftPrior(1, 0.05 * ProfileFit.Gaussian(random));
            refit.Run(x0, single, 15, reweight: false, covariance: false);
            double[] values = Smooth(refit.X);
            replicates[b] = [.. values.Select(v => sign * v)];
        });

        // A width error that all colors share bends the whole curve, which resampled residuals cannot show: refit with the
        // seeing held a little wider and narrower, and let the replicates roam along the difference.
        double[] Held(double by)
        {
            List<ProfileBlock> same = Make();
            ProfileFit fit = NewFit(same, nm, curve, degree, x0[0] + by, 1e-4);
            fit.Run([x0[0] + by, .. x0[1..]], context, 20, reweight: false, covariance: false);
            return [.. Smooth(fit.X).Select(v => sign * v)];
        }

        double[] wider = Held(CommonWidthError), narrower = Held(-CommonWidthError);
        var common = new Random(unchecked((request.Seed * 7919) + 17));
        foreach (double[] replicate in replicates)
        {
            double share = ProfileFit.Gaussian(common);
            for (int j = 0; j < replicate.Length; j++)
            {
                replicate[j] += share * 0.5 * (wider[j] - narrower[j]);
            }
        }

        // Each bin on its own: size from its own profile at the common seeing.
        double[] own = new double[bins.Length], error = new double[bins.Length];
        var work = bestBlocks[0].Model.NewWork();
        double[] blurs = [.. bins.Select(j => Math.Exp(best.X[0] + ((best.X[1] - 0.2) * Math.Log(input.Nm[j] / 550))))];
        for (int k = 0; k < bins.Length; k++)
        {
            (own[k], error[k]) = OwnSize(bestBlocks[k], Math.Abs(smooth[bins[k]]), blurs[k], scale, request.FocalRatio, nm[k], work);
            own[k] *= Math.Sign(smooth[bins[k]] == 0 ? 1 : smooth[bins[k]]);
        }

        double[] openSign = OpenSigns.Find(request, bins, input, smooth, error, Math.Exp(best.X[0]) * input.PitchUm, rival);

        // A size whose sign is open lies below what depth of focus and seeing hide: it cannot be told from none.
        double[] sizeError = [.. Enumerable.Range(0, input.Bins).Select(j =>
        {
            double scatter = CurveAssembly.Spread(replicates.Select(r => Math.Abs(r[j])));
            return openSign[j] > 0 ? Math.Sqrt((scatter * scatter) + (smooth[j] * smooth[j])) : scatter;
        })];
        bool decided = OpenSigns.Say(input, bins, smooth, openSign, at);
        OpenSigns.Widen(replicates, openSign, request.Seed);

        double closest = bins.Min(j => Math.Abs(smooth[j]));
        double depth = 2 * 0.55 * request.FocalRatio * request.FocalRatio;
        if (!hinted && closest > Math.Max(2 * depth, 0.1 * top))
        {
            input.Notes.Add(ColorFocusNotes.NoTouch.Say(
                $"The sharpest color is still {closest:0} um out of focus (depth of focus +-{depth:0} um), so seeing and a common defocus cannot be told apart. Focus on green light first, or take a focus run."));
        }

        // The fit's unknown is best focus minus sensor; that is the curve's own sign.
        double[][] perBin = [.. replicates.Select(r => bins.Select(j => r[j]).ToArray())];
        return CurveAssembly.Assemble(input, request, bins, own, error, perBin, [Math.Exp(best.X[0]) * input.PitchUm],
            request.PositionUm.Length == 1 ? request.PositionUm : [0], scale, Measured.None(""), null, new SingleCurve(smooth, replicates, openSign, sizeError, decided));
    }

    /// <summary>How far a curve's distance from the sensor departs from the one that was set, in squared standard deviations; the
    /// setting is taken to be good to a third.</summary>
    private static double HintMisfit(double focusMinusSensor, double hint)
    {
        double off = (Math.Abs(focusMinusSensor) - Math.Abs(hint)) / (Math.Abs(hint) / 3);
        return off * off;
    }

    private static ProfileFit NewFit(List<ProfileBlock> blocks, double[] nm, SmoothCurve curve, int degree, double startSeeing, double seeingSigma = 3)
    {
        int n = degree + 3;
        int[] index = [.. Enumerable.Range(2, degree + 1)];
        var defocus = nm.Select(w => new LinearMap(index, [.. curve.Basis(w, degree).Select(t => -t)], 0)).ToList();
        var seeing = nm.Select(w => new LinearMap([0, 1], [1, Math.Log(w / 550)], -0.2 * Math.Log(w / 550))).ToList();
        var mean = new double[n];
        var sigma = new double[n];
        mean[0] = startSeeing;
        sigma[0] = seeingSigma;
        sigma[1] = 0.05; // outer scale, guiding and the telescope bend the law of lambda^-1/5 by about this much
        for (int i = 2; i < n; i++)
        {
            sigma[i] = 2e4; // um; keeps the equations sound where a color's focus has no slope
        }

        return new ProfileFit(blocks, defocus, seeing, mean, sigma);
    }

    private static (double Size, double Error) OwnSize(ProfileBlock block, double start, double blur, double scale, double focalRatio, double nm, ProfileModel.Work work)
    {
        // In q = z^2 the profile is regular at focus, so steps and errors are taken there.
        double unit = 0.3 * 8 * focalRatio * focalRatio * nm / 1000;
        double z = start;
        double h = 0;
        for (int turn = 0; turn < 8; turn++)
        {
            double at = Math.Max(z, 0.2 * unit);
            block.Propose(0, 0);
            block.Evaluate(at, blur, work);
            block.Accept();
            block.Linearize();
            double slope = 1 / (2 * at);
            h = block.Hzz * slope * slope;
            double step = h > 0 ? block.Gz * slope / h : 0;
            double q = Math.Max(0, (at * at) + Math.Clamp(step, -0.5 * ((at * at) + (unit * unit)), 0.5 * ((at * at) + (unit * unit))));
            z = Math.Sqrt(q);
        }

        double sigmaQ = h > 0 ? scale / Math.Sqrt(h) : double.NaN;
        double error = Math.Min(sigmaQ / (2 * Math.Max(z, 1e-9)), Math.Sqrt(sigmaQ));
        return (z, error);
    }
}
