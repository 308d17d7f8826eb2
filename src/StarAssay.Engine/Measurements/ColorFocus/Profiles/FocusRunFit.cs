using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Signed focus of every bin from all frames of a focus run at once; each frame has its own seeing.</summary>
internal static class FocusRunFit
{
    // How far the blur of one color may depart from lambda^-1/5, standard deviation of its logarithm: telescopes,
    // outer scale and guiding add what no law covers.
    private const double BlurFreedom = 0.05;

    // Bins that are enough to lay neighbors' light along their curve: two to each of its functions.
    private const int FewBins = 2 * SplineBasis.Functions;

    // A gain in squared misfit that ends fits whose curve is fitted again.
    private const double Rough = 0.5;

    public static ColorFocusResult Fit(ColorFocusInput input, ColorFocusRequest request, RunContext context)
    {
        int[] bins = [.. Enumerable.Range(0, input.Bins).Where(j => input.Used[j])];
        double[] position = request.PositionsUm;
        (ProfileFit? found, NeighborCorrection? neighbors, double[] bend) = WithoutNeighbors(input, request, bins, position, context);
        if (found is not { } fit || ReachesTooFar(input, request, bins, position, fit))
        {
            return Fit(input, request, context);
        }

        double[] byOrder = new double[bins.Length];
        SecondOrderRemoval? removal = SecondOrderRemoval.Predict(input, request, bins, fit.X);
        if (removal is not null)
        {
            int[] clean = bins;
            (bins, fit, byOrder) = Overlapped(input, request, bins, position, fit, removal, neighbors, context);
            bend = [.. bins.Select(j => bend[Enumerable.Range(0, clean.Length).MinBy(k => Math.Abs(clean[k] - j))])];
            removal.Say(input);
        }

        context.Report(0.7, "bootstrap");
        Measured focalRatio = CheckFocalRatio(input, request, bins, position, fit, removal, neighbors, context);
        double scale = fit.Scale;
        double[][] replicates = fit.LinearBootstrap(request.Replicates, request.Seed, context);
        int n = input.Frames;
        double[] z = [.. Enumerable.Range(0, bins.Length).Select(k => fit.X[n + k])];
        double[] unseen = input.UnseenSecondOrder([.. bins.Select(j => input.Nm[j])], z);
        byOrder = [.. byOrder.Select((v, k) => Math.Sqrt((v * v) + (unseen[k] * unseen[k])))];
        double[] sigma = [.. Enumerable.Range(0, bins.Length).Select(k =>
            Math.Sqrt((scale * scale * fit.Covariance[n + k, n + k]) + (byOrder[k] * byOrder[k])))];
        var amount = new Random(unchecked(request.Seed + 5));
        foreach (double[] replicate in replicates)
        {
            double share = ProfileFit.Gaussian(amount);
            for (int k = 0; k < bins.Length; k++)
            {
                replicate[n + k] += share * byOrder[k];
            }
        }

        double[][] zs = [.. replicates.Select(r => r[n..(n + bins.Length)])];
        double[] seeing = [.. Enumerable.Range(0, n).Select(i => Math.Exp(fit.X[i]) * input.PitchUm)];
        Measured blur = SeeingLaw.Blur(fit.X[^1], scale * Math.Sqrt(fit.Covariance[fit.X.Length - 1, fit.X.Length - 1]), input.PitchUm);
        return CurveAssembly.Assemble(input, request, bins, z, sigma, zs, seeing, position, scale, focalRatio, bend) with { InstrumentBlur = blur };
    }

    /// <summary>Whether some bin lies out of the window's reach in every frame; those are left out of the input then.</summary>
    private static bool ReachesTooFar(ColorFocusInput input, ColorFocusRequest request, int[] bins, double[] position, ProfileFit fit) =>
        WindowReach.Keep(input, request, bins, [.. bins.Select((_, k) => position.Min(p => Math.Abs(p - fit.X[input.Frames + k])))]).Length < bins.Length;

    /// <summary>A fit with the light of neighboring colors taken off, that light, and how far it had moved each bin, um; none
    /// where bins were found to lie beyond the window.</summary>
    private static (ProfileFit? Fit, NeighborCorrection? Neighbors, double[] Moved) WithoutNeighbors(ColorFocusInput input, ColorFocusRequest request,
        int[] bins, double[] position, RunContext context)
    {
        // A part of the bins shows the curve along which the light is laid, and whether there was a slit.
        int n = input.Frames, each = Math.Clamp(bins.Length / FewBins, 1, 4);
        int[] few = [.. bins.Where((_, k) => k % each == each / 2 || k == 0 || k == bins.Length - 1)];
        double[] nm = [.. few.Select(j => input.Nm[j])], all = [.. bins.Select(j => input.Nm[j])];
        var basis = new SplineBasis(all.Min(), all.Max());
        ProfileFit first = Run(input, request, few, position, Start(input, request, few, position), request.FocalRatio, context, rough: true, warm: false);
        if (ReachesTooFar(input, request, few, position, first))
        {
            return (null, null, []);
        }

        double[] Weight(ProfileFit of) => [.. few.Select((_, k) => Math.Sqrt(of.Covariance[n + k, n + k]))];
        double[] Curve(ProfileFit of) => SplineSmoother.Fit(basis, nm, of.X[n..(n + few.Length)], Weight(of)).Coefficients;
        double[][][] Light(ProfileFit from, bool slit)
        {
            double[] x = from.X, curve = Curve(from);
            return NeighborLight.Find(input, request, w => SplineBasis.Dot(basis.Continued(w), curve), position,
                (i, w) => Math.Exp(x[i] + (x[^2] * Math.Log(w / 550))), x[^1], slit, context);
        }

        // The profiles tell whether a slit kept other colors' discs out.
        double[][][] open = Light(first, false), shut = Light(first, true);
        NeighborCorrection neighbors = new(open, open), behind = new(shut, open);
        ProfileFit without = Run(input, request, few, position, first.X, request.FocalRatio, context, null, neighbors, rough: true);
        ProfileFit with = Run(input, request, few, position, first.X, request.FocalRatio, context, null, behind, rough: true);
        bool slit = NeighborLight.BehindSlit(with, without);
        ProfileFit best = slit ? with : without;
        neighbors = slit ? new NeighborCorrection(shut, shut) : neighbors;
        double[] weight = Weight(first);
        if (Enumerable.Range(0, few.Length).Average(k => Math.Abs(best.X[n + k] - first.X[n + k]) / weight[k]) >= 1)
        {
            // That light came from bins that had it still in: once more from the better ones.
            double[][][] light = Light(best, slit);
            neighbors = new NeighborCorrection(light, light);
        }

        double[] c = Curve(best);
        double[] start = [.. best.X[..n], .. all.Select(w => SplineBasis.Dot(basis.At(w), c)), .. new double[bins.Length], best.X[^2], best.X[^1]];
        ProfileFit fit = Run(input, request, bins, position, start, request.FocalRatio, context, null, neighbors);
        double[] moved = [.. few.Select((j, k) => fit.X[n + Array.IndexOf(bins, j)] - first.X[n + k])];
        return (fit, neighbors, [.. all.Select(w => LinearTable.At(nm, moved, w))]);
    }

    /// <summary>The same fit with the bins under the second order, and what an error of its amount does to each bin, um.</summary>
    private static (int[] Bins, ProfileFit Fit, double[] ByAmount) Overlapped(ColorFocusInput input, ColorFocusRequest request, int[] clean, double[] position,
        ProfileFit fit, SecondOrderRemoval removal, NeighborCorrection? neighbors, RunContext context)
    {
        int n = input.Frames;
        int[] bins = [.. clean.Concat(removal.Bins).Order()];
        foreach (int j in removal.Bins)
        {
            input.Used[j] = true;
        }

        var start = new double[n + (2 * bins.Length) + 2];
        Array.Copy(fit.X, start, n);
        start[^2] = fit.X[^2];
        start[^1] = fit.X[^1];
        for (int k = 0; k < bins.Length; k++)
        {
            int nearest = Enumerable.Range(0, clean.Length).MinBy(c => Math.Abs(clean[c] - bins[k]));
            start[n + k] = fit.X[n + nearest];
        }

        ProfileFit whole = Run(input, request, bins, position, start, request.FocalRatio, context, removal, neighbors, warm: false);
        ProfileFit more = Run(input, request, bins, position, whole.X, request.FocalRatio, context, removal.Times(1 + removal.RelativeError), neighbors);
        return (bins, whole, [.. Enumerable.Range(0, bins.Length).Select(k => more.X[n + k] - whole.X[n + k])]);
    }

    private static ProfileFit Run(ColorFocusInput input, ColorFocusRequest request, int[] bins, double[] position, double[] start, double focalRatio,
        RunContext context,
        SecondOrderRemoval? removal = null, NeighborCorrection? neighbors = null, bool rough = false, bool warm = true)
    {
        ProfileFit fit = New(input, request, bins, position, start, focalRatio, removal, neighbors);
        fit.Run(start, context, reweight: !rough, settled: rough ? Rough : ProfileFit.Settled, damping: warm ? ProfileFit.Warm : 1e-3);
        return fit;
    }

    private static ProfileFit New(ColorFocusInput input, ColorFocusRequest request, int[] bins, double[] position, double[] start, double focalRatio,
        SecondOrderRemoval? removal, NeighborCorrection? neighbors)
    {
        int n = input.Frames, m = bins.Length;
        int exponent = n + (2 * m), blurAt = exponent + 1;
        var blocks = new List<ProfileBlock>();
        var defocus = new List<LinearMap>();
        var seeing = new List<LinearMap>();
        var blur = new List<LinearMap>();
        for (int i = 0; i < n; i++)
        {
            for (int k = 0; k < m; k++)
            {
                if (!(input.Spectra[i].SignalToNoise[bins[k]] > 6))
                {
                    continue;
                }

                ProfileBlock block = input.Block(i, bins[k], request, focalRatio, removal?.Profile(i, bins[k]), neighbors);
                if (block.UsedRows < 8)
                {
                    continue;
                }

                blocks.Add(block);
                defocus.Add(new LinearMap([n + k], [-1], position[i]));
                seeing.Add(new LinearMap([i, n + m + k, exponent], [1, 1, Math.Log(input.Nm[bins[k]] / 550)], 0));
                blur.Add(new LinearMap([blurAt], [1], 0));
            }
        }

        (double blurMean, double blurSigma) = input.Blur(request);
        var mean = new double[blurAt + 1];
        var sigma = new double[mean.Length];
        for (int i = 0; i < mean.Length; i++)
        {
            mean[i] = i < n ? start[i] : i < n + m ? start[i] : i == exponent ? SeeingLaw.Exponent : i == blurAt ? blurMean : 0;
            sigma[i] = i < n ? 3 : i < n + m ? 1e7 : i == exponent ? SeeingLaw.ExponentSigma : i == blurAt ? blurSigma : BlurFreedom;
        }

        return new ProfileFit(blocks, defocus, seeing, blur, mean, sigma);
    }

    private static double[] Start(ColorFocusInput input, ColorFocusRequest request, int[] bins, double[] position)
    {
        // Width^2 against position is a parabola whose curvature the focal ratio gives: the 68 % half width of a disc's
        // profile is 0.265 of its diameter, so width^2 = w0^2 + (0.265 (z - z0) / N)^2.
        int n = input.Frames, m = bins.Length;
        var start = new double[n + (2 * m) + 2];
        start[^2] = SeeingLaw.Exponent;
        start[^1] = input.Blur(request).Mean;
        double smallest = double.MaxValue;
        double low = position.Min(), high = position.Max(), reach = high - low;
        for (int k = 0; k < m; k++)
        {
            // Vertex by least squares of w^2 - a z^2 = c - 2 a z0 z; wide profiles count less (their noise grows with w).
            double a = Math.Pow(0.265 / request.FocalRatio / input.PitchUm, 2);
            double s = 0, sz = 0, szz = 0, sy = 0, szy = 0;
            for (int i = 0; i < n; i++)
            {
                double w = input.Spectra[i].WidthPx[bins[k]];
                if (!double.IsFinite(w))
                {
                    continue;
                }

                smallest = Math.Min(smallest, w);
                double weight = 1 / Math.Pow(w, 2), y = (w * w) - (a * position[i] * position[i]);
                s += weight;
                sz += weight * position[i];
                szz += weight * position[i] * position[i];
                sy += weight * y;
                szy += weight * position[i] * y;
            }

            double slope = ((s * szy) - (sz * sy)) / ((s * szz) - (sz * sz));
            double z0 = -slope / (2 * a);
            start[n + k] = double.IsFinite(z0) ? Math.Clamp(z0, low - reach, high + reach) : 0.5 * (low + high);
        }

        for (int i = 0; i < n; i++)
        {
            // Kolmogorov: half the 68 % range of the profile is about 0.46 FWHM (from the model itself).
            start[i] = Math.Log(Math.Max(0.8, smallest / 0.5));
        }

        return start;
    }

    private static Measured CheckFocalRatio(ColorFocusInput input, ColorFocusRequest request, int[] bins, double[] position, ProfileFit fit,
        SecondOrderRemoval? removal, NeighborCorrection? neighbors, RunContext context)
    {
        if (position.Distinct().Count() < 5)
        {
            return Measured.None("");
        }

        // chi^2 against the logarithm of the focal ratio is a parabola; three points give its foot and width.
        const double Step = 0.03;
        double At(double step) =>
            New(input, request, bins, position, fit.X, request.FocalRatio * Math.Exp(step), removal, neighbors).Foot(fit.X, context);
        double chi0 = At(0), chiMinus = At(-Step), chiPlus = At(Step);
        double curvature = (chiPlus + chiMinus - (2 * chi0)) / (Step * Step);
        if (!(curvature > 0))
        {
            return Measured.None("");
        }

        double foot = -(chiPlus - chiMinus) / (2 * Step) / curvature;
        double sigma = Math.Sqrt(2 / curvature) * fit.Scale;
        if (Math.Abs(foot) > 0.15)
        {
            foot = Math.Sign(foot) * 0.15; // the parabola says no more than "far off"
        }

        double value = request.FocalRatio * Math.Exp(foot);
        if (Math.Abs(foot) > Math.Max(0.02, 4 * sigma))
        {
            input.Notes.Add(ColorFocusNotes.FocalRatioDiffers.Say(
                $"The blur grows with the focuser as at f/{value:0.00}, not f/{request.FocalRatio:0.00}. Check aperture, focal length and the focuser's " +
                    "scale: shifts in um are only as good as that scale."));
        }

        return new Measured(value, value * sigma, "");
    }
}
