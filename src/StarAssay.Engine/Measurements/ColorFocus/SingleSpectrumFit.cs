using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What a single spectrum gives to the curve besides its bins: the smooth curve (focus minus sensor) and its replicates, twice
/// the size where the sign is open, the error of the size, and whether the signs are decided on the whole.</summary>
internal sealed record SingleCurve(SmoothCurve Curve, double[] Smooth, double[][] Replicates, double[] OpenSign, double[] SizeError, bool Decided);

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
        (double[] size, double smallest) = FromWidths(input, request, bins);
        double startSeeing = Math.Log(Math.Max(0.8, smallest / 0.5));
        double top = size.Max();
        List<double[]> signed = Patterns(size, hinted ? Math.Max(top, 3 * Math.Abs(request.DefocusHintUm)) : top);
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
        double sign = Orient(input, bins, nm, ref smooth, request);
        bool rival = HasRival(ranked, best, nm, curve, degree);

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

        double[] openSign = OpenSigns(request, bins, input, smooth, error, Math.Exp(best.X[0]) * input.PitchUm, rival);

        // A size whose sign is open lies below what depth of focus and seeing hide: it cannot be told from none.
        double[] sizeError = [.. Enumerable.Range(0, input.Bins).Select(j =>
        {
            double scatter = CurveAssembly.Spread(replicates.Select(r => Math.Abs(r[j])));
            return openSign[j] > 0 ? Math.Sqrt((scatter * scatter) + (smooth[j] * smooth[j])) : scatter;
        })];
        bool decided = SayOpenSigns(input, bins, smooth, openSign, at);
        WidenReplicates(replicates, openSign, request.Seed);

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
            request.PositionUm.Length == 1 ? request.PositionUm : [0], scale, Measured.None(""), null, new SingleCurve(curve, smooth, replicates, openSign, sizeError, decided));
    }

    /// <summary>How far a curve's distance from the sensor departs from the one that was set, in squared standard deviations; the
    /// setting is taken to be good to a third.</summary>
    private static double HintMisfit(double focusMinusSensor, double hint)
    {
        double off = (Math.Abs(focusMinusSensor) - Math.Abs(hint)) / (Math.Abs(hint) / 3);
        return off * off;
    }

    /// <summary>Twice the size of the defocus where its sign is open, 0 where it is decided, um, every bin.</summary>
    /// <remarks>A bin is open when its defocus is no larger than three of its errors plus what depth of focus and seeing hide. A
    /// narrow stretch of such bins between larger ones is a steep crossing, which smoothness decides.</remarks>
    private static double[] OpenSigns(ColorFocusRequest request, int[] bins, ColorFocusInput input, double[] smooth, double[] error, double seeingUm, bool rival)
    {
        var open = new bool[bins.Length];
        for (int k = 0; k < bins.Length; k++)
        {
            double depth = 2 * input.Nm[bins[k]] / 1000 * request.FocalRatio * request.FocalRatio;
            double hiddenBySeeing = 0.5 * seeingUm * request.FocalRatio; // a disc half as wide as the seeing: our own choice
            double sigma = double.IsFinite(error[k]) ? error[k] : 0;
            open[k] = Math.Abs(smooth[bins[k]]) < Math.Sqrt((depth * depth) + (hiddenBySeeing * hiddenBySeeing)) + (3 * sigma);
        }

        for (int a = 0; a < open.Length;)
        {
            int b = a;
            while (b < open.Length && open[b] == open[a])
            {
                b++;
            }

            if (open[a] && !rival && a > 0 && b < open.Length && b - a <= open.Length / 8)
            {
                Array.Fill(open, false, a, b - a);
            }

            a = b;
        }

        var result = new double[input.Bins];
        for (int k = 0; k < bins.Length; k++)
        {
            result[bins[k]] = open[k] ? 2 * Math.Abs(smooth[bins[k]]) : 0;
        }

        return result;
    }

    /// <summary>Says how many signs are open; true when the curve as a whole stands in spite of them.</summary>
    private static bool SayOpenSigns(ColorFocusInput input, int[] bins, double[] smooth, double[] openSign, int reference)
    {
        int count = bins.Count(j => openSign[j] > 0);
        if (count == 0)
        {
            return true;
        }

        // A tenth of the range is what one spectrum is asked for; open signs that move less leave the curve's shape.
        double range = bins.Max(j => smooth[j]) - bins.Min(j => smooth[j]);
        double moved = bins.Max(j => openSign[j]) + openSign[bins[reference]];
        string share = $"In {100.0 * count / bins.Length:0} % of the spectrum ({count} of {bins.Length} bins) the defocus is too small to tell its sign";
        if (moved < 0.1 * range)
        {
            input.Notes.Add(ColorFocusNotes.SignOpenNearFocus.Say(
                $"{share}; the other sign would move the curve by up to {moved:0} um of its {range:0} um, which its error includes."));
            return true;
        }

        input.Notes.Add(ColorFocusNotes.SignAmbiguous.Say(
            $"{share}, and the shape of the curve is not decided: what was measured is the size of the defocus, without its sign. A focus run decides it, or one spectrum with the sensor set 0.2 to 0.3 mm out and that said by a defocus hint."));
        return false;
    }

    /// <summary>Turns the sign of every second replicate's open bins at random, so that figures of merit feel it.</summary>
    private static void WidenReplicates(double[][] replicates, double[] openSign, int seed)
    {
        var random = new Random(unchecked((seed * 31337) + 5));
        foreach (double[] replicate in replicates)
        {
            bool turn = random.NextDouble() < 0.5;
            for (int j = 0; j < replicate.Length; j++)
            {
                // A curve may change sides where it touches focus: each stretch draws its own side.
                bool touch = j > 0 && (openSign[j] == 0 != (openSign[j - 1] == 0) || (openSign[j] > 0 && j + 1 < openSign.Length && openSign[j] <= openSign[j - 1] && openSign[j] < openSign[j + 1]));
                turn = touch ? random.NextDouble() < 0.5 : turn;
                replicate[j] = turn && openSign[j] > 0 ? -replicate[j] : replicate[j];
            }
        }
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

    private static (double[] Size, double Smallest) FromWidths(ColorFocusInput input, ColorFocusRequest request, int[] bins)
    {
        double[] w = [.. bins.Select(j => input.Spectra[0].RobustWidth[j] * Math.Pow(input.Nm[j] / 550, 0.2))];
        double[] finite = [.. w.Where(double.IsFinite).Order()];
        double smallest = finite[finite.Length / 20];
        double perUm = 0.265 / request.FocalRatio / input.PitchUm;
        if (double.IsFinite(request.DefocusHintUm))
        {
            // Set out of focus: what the known disc leaves of the width at the reference is seeing.
            int at = Enumerable.Range(0, bins.Length).MinBy(k => Math.Abs(input.Nm[bins[k]] - request.ReferenceNm));
            double whole = double.IsFinite(w[at]) ? w[at] : smallest;
            double disc = perUm * request.DefocusHintUm;
            smallest = Math.Min(smallest, Math.Sqrt(Math.Max((whole * whole) - (disc * disc), 0.09 * smallest * smallest)));
        }

        var size = new double[bins.Length];
        for (int k = 0; k < bins.Length; k++)
        {
            double v = double.IsFinite(w[k]) ? w[k] : smallest;
            size[k] = Math.Sqrt(Math.Max(0, (v * v) - (smallest * smallest))) / perUm;
        }

        var smooth = new double[size.Length];
        for (int k = 0; k < size.Length; k++)
        {
            smooth[k] = Robust.Median(size.AsSpan(Math.Max(0, k - 2), Math.Min(size.Length, k + 3) - Math.Max(0, k - 2)).ToArray());
        }

        return (smooth, smallest);
    }

    private static List<double[]> Patterns(double[] size, double top)
    {
        // Places where the curve may cross zero: the low stretches of its size.
        var lows = new List<int>();
        int at = -1;
        for (int k = 0; k < size.Length; k++)
        {
            if (size[k] < 0.22 * top)
            {
                at = at < 0 || size[k] < size[at] ? k : at;
            }
            else if (at >= 0)
            {
                lows.Add(at);
                at = -1;
            }
        }

        if (at >= 0)
        {
            lows.Add(at);
        }

        // A wide low stretch may hide two crossings: its ends are candidates as well.
        var extra = new List<int>();
        foreach (int low in lows)
        {
            int a = low, b = low;
            while (a > 0 && size[a - 1] < 0.22 * top)
            {
                a--;
            }

            while (b < size.Length - 1 && size[b + 1] < 0.22 * top)
            {
                b++;
            }

            if (b - a > size.Length / 8)
            {
                extra.Add(a + ((b - a) / 4));
                extra.Add(b - ((b - a) / 4));
            }
            else
            {
                extra.Add(low);
            }
        }

        int[] crossings = [.. extra.Distinct().Order().Take(5)];
        var patterns = new List<double[]>();
        for (int bits = 0; bits < 1 << crossings.Length; bits++)
        {
            double sign = 1;
            var s = new double[size.Length];
            int next = 0;
            for (int k = 0; k < size.Length; k++)
            {
                while (next < crossings.Length && k >= crossings[next])
                {
                    sign = (bits >> next & 1) == 1 ? -sign : sign;
                    next++;
                }

                s[k] = sign * size[k];
            }

            patterns.Add(s);
        }

        return patterns;
    }

    private static double Orient(ColorFocusInput input, int[] bins, double[] nm, ref double[] smooth, ColorFocusRequest request)
    {
        int middle = bins[Enumerable.Range(0, nm.Length).MinBy(k => Math.Abs(nm[k] - request.ReferenceNm))];
        double sign;
        if (double.IsFinite(request.DefocusHintUm) && request.DefocusHintUm != 0)
        {
            // The sensor was set beyond focus (positive): the reference focuses nearer to the objective than the sensor stands.
            sign = smooth[middle] < 0 == request.DefocusHintUm > 0 ? 1 : -1;
            double found = Math.Abs(smooth[middle]);
            input.Notes.Add(Math.Abs(found - Math.Abs(request.DefocusHintUm)) > 0.5 * Math.Abs(request.DefocusHintUm)
                ? ColorFocusNotes.DefocusHintDiffers.Say(
                    $"The spectrum was said to be set {Math.Abs(request.DefocusHintUm):0} um out of focus; its width says {found:0} um. Check the focuser's scale, the focal ratio and where best focus was, and with it the sign.")
                : ColorFocusNotes.SignFromDefocus.Say(
                    $"The sensor was set {Math.Abs(request.DefocusHintUm):0} um {(request.DefocusHintUm > 0 ? "beyond" : "before")} focus; the spectrum's width says {found:0} um. That decides the signs."));
        }
        else
        {
            int blue = bins[Array.IndexOf(nm, nm.Min())];
            bool longer = request.SignHint != SignHint.BlueShorter;
            sign = smooth[blue] - smooth[middle] >= 0 == longer ? 1 : -1;
            if (request.SignHint == SignHint.None)
            {
                input.Notes.Add(ColorFocusNotes.SignAssumed.Say(
                    "One spectrum shows how far each color is out of focus, not on which side. The usual case of lenses was assumed: the violet end focuses farther out. A second spectrum at another focus, or a hint, settles it."));
            }
        }

        smooth = [.. smooth.Select(v => sign * v)];
        return sign;
    }

    /// <summary>Whether another choice of signs fits almost as well.</summary>
    private static bool HasRival(List<(ProfileFit Fit, List<ProfileBlock> Blocks)> ranked, ProfileFit best, double[] nm, SmoothCurve curve, int degree)
    {
        double[] Values(double[] x) => [.. nm.Select(w => SmoothCurve.Dot(curve.Basis(w, degree), x[2..]))];
        double[] a = Values(best.X);
        double range = a.Max() - a.Min();
        double unit = Math.Max(1, best.Scale * best.Scale);
        foreach ((ProfileFit fit, _) in ranked.Skip(1))
        {
            double[] b = Values(fit.X);
            double same = Math.Sqrt(a.Zip(b, (p, q) => (p - q) * (p - q)).Average());
            double mirrored = Math.Sqrt(a.Zip(b, (p, q) => (p + q) * (p + q)).Average());
            if (Math.Min(same, mirrored) > 0.1 * range && (fit.ChiSquare - ranked[0].Fit.ChiSquare) / unit < 9)
            {
                return true;
            }
        }

        return false;
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
