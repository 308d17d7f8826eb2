using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What is known before one spectrum is fitted: its blur and that one's deviation, the logarithm of the seeing and its own, and how
/// far the curve may walk.</summary>
internal sealed record CurvePriors((double Mean, double Sigma) Blur, double LogSeeing, double LogSeeingSigma, double Walk);

/// <summary>Fits a smooth signed curve of defocus against wavelength on the profiles of one spectrum, with seeing and blur.</summary>
internal sealed class SignedCurveFit
{
    /// <summary>Unknowns before the curve's own: log seeing at 550 nm, its exponent, the spectrograph's blur.</summary>
    public const int Head = 3;

    /// <summary>A gain in squared misfit that ends fits which only rank choices of signs.</summary>
    public const double Ranking = 0.5;

    private readonly double[][] rows;
    private readonly LinearMap[] defocus, seeing, blur;
    private readonly ProfileLayout layout;

    /// <summary>For colors at these wavelengths, with the curve's terms at each.</summary>
    public SignedCurveFit(double[] nm, double[][] rows)
    {
        this.rows = rows;
        int[] index = [.. Enumerable.Range(Head, SplineBasis.Count)];
        defocus = [.. rows.Select(r => new LinearMap(index, [.. r.Select(t => -t)], 0))];
        seeing = [.. nm.Select(w => new LinearMap([0, 1], [1, Math.Log(w / 550)], 0))];
        blur = [.. nm.Select(_ => new LinearMap([2], [1], 0))];
        layout = new ProfileLayout([defocus, seeing, blur], SplineBasis.Count + Head);
    }

    /// <summary>The curve of a point, at every color.</summary>
    public double[] Curve(double[] x) => [.. rows.Select(r => SplineBasis.Dot(r, x[Head..]))];

    /// <summary>A fit of the curve, or of seeing and blur alone where the curve's coefficients are given.</summary>
    public ProfileFit New(List<ProfileBlock> blocks, CurvePriors priors, double[]? held = null)
    {
        int n = SplineBasis.Count + Head;
        var mean = new double[n];
        var sigma = new double[n];
        (mean[0], sigma[0]) = (priors.LogSeeing, priors.LogSeeingSigma);
        (mean[1], sigma[1]) = (SeeingLaw.Exponent, SeeingLaw.ExponentSigma);
        (mean[2], sigma[2]) = priors.Blur;
        for (int k = 0; k < SplineBasis.Count; k++)
        {
            // Nothing holds the parabola; 10 m keep the equations sound where a color's focus has no slope.
            sigma[Head + k] = held is null ? Math.Min(10 * ProfileFit.Flat, priors.Walk * Math.Sqrt(SplineBasis.Variance(k))) : 1e-3;
            mean[Head + k] = held?[k] ?? 0;
        }

        return new ProfileFit(blocks, defocus, seeing, blur, mean, sigma, layout);
    }

    /// <summary>A quick fit from a point, for its misfit.</summary>
    public (ProfileFit Fit, List<ProfileBlock> Blocks) Try(List<ProfileBlock> blocks, CurvePriors priors, double[] start, RunContext context,
        double settled = ProfileFit.Settled)
    {
        ProfileFit fit = New(blocks, priors);
        fit.Run(start, context, 30, reweight: false, covariance: false, settled: settled);
        return (fit, blocks);
    }

    /// <summary>Size of the curve's walk by restricted maximum likelihood, from the normal equations at the best point, and minus twice
    /// the logarithm of that likelihood without the misfit at that point.</summary>
    public static (double Walk, double Score) Smoothness(ProfileFit fit, double walk, double unit)
    {
        (double[,] h, double[] g) = fit.DataNormal();
        int n = g.Length;
        double best = double.MaxValue, kept = walk;
        double[] whole = new double[n * n], right = new double[n], precision = new double[n], step = new double[n];
        var cholesky = new SkylineCholesky(n);
        for (double log = -14; log <= 3; log += 0.5)
        {
            double size = walk * Math.Exp(log), scatter = 0;
            for (int i = 0; i < n; i++)
            {
                for (int j = 0; j <= i; j++)
                {
                    whole[(i * n) + j] = h[i, j] / unit;
                }

                double variance = i < Head ? double.PositiveInfinity : size * size * SplineBasis.Variance(i - Head);
                precision[i] = double.IsFinite(variance) ? 1 / variance : 0;
                scatter += double.IsFinite(variance) ? Math.Log(variance) : 0;
                right[i] = (g[i] / unit) - (precision[i] * fit.X[i]);
                whole[(i * n) + i] += precision[i] + 1e-9;
            }

            cholesky.Factor(whole, 1e-11);
            right.CopyTo(step, 0);
            cholesky.Solve(step);
            double gain = 0, walked = 0;
            for (int i = 0; i < g.Length; i++)
            {
                gain += right[i] * step[i];
                walked += precision[i] * fit.X[i] * fit.X[i];
            }

            double score = walked - gain + cholesky.LogDeterminant + scatter;
            if (score < best)
            {
                (best, kept) = (score, size);
            }
        }

        return (kept, best);
    }
}
