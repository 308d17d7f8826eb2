using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Levenberg-Marquardt over many profiles that share few unknowns; each profile keeps its own flux, offset and center.</summary>
internal sealed class ProfileFit(IReadOnlyList<ProfileBlock> blocks, IReadOnlyList<LinearMap> defocus, IReadOnlyList<LinearMap> logSeeing,
    IReadOnlyList<LinearMap> blur, double[] priorMean, double[] priorSigma, ProfileLayout? layout = null)
{
    /// <summary>A standard deviation from which on a prior says nothing.</summary>
    public const double Flat = 1e6;

    /// <summary>Damping for a start that another fit has found: hardly any.</summary>
    public const double Warm = 1e-7;

    /// <summary>A gain in squared misfit that ends a fit, in units of the noise.</summary>
    public const double Settled = 0.01;

    // Of that: what is no worse than by this was not made worse by the step.
    private const double Rounding = 0.1;

    private readonly int n = priorMean.Length;
    private readonly IReadOnlyList<LinearMap>[] maps = [defocus, logSeeing, blur];
    private ProfileModel.Work? own;
    private ProfileNormal? normal;

    public double[] X { get; private set; } = [];

    public double ChiSquare { get; private set; }

    /// <summary>Misfit of the profiles alone, without the priors'.</summary>
    public double ProfileChiSquare => blocks.Sum(b => b.ChiSquare);

    /// <summary>How much better most profiles fit here than in another fit of the same profiles, as a difference of squared misfits; no
    /// profile counts for more than three standard deviations, so that few which neither fits do not decide (our own choice).</summary>
    public double BetterThan(ProfileFit other) => blocks.Zip(other.Blocks, (a, b) => Math.Clamp(b.ChiSquare - a.ChiSquare, -9, 9)).Sum();

    private IReadOnlyList<ProfileBlock> Blocks => blocks;

    public int DegreesOfFreedom => Math.Max(1, blocks.Sum(b => b.UsedRows) - (3 * blocks.Count) - n + priorSigma.Count(s => s < Flat));

    /// <summary>Noise in the profiles over the noise expected, never below 1.</summary>
    public double Scale => Math.Sqrt(Math.Max(1, blocks.Sum(b => b.ChiSquare) / DegreesOfFreedom));

    public double[,] Covariance { get; private set; } = new double[0, 0];

    private ProfileNormal Normal => normal ??= new ProfileNormal(layout ?? new ProfileLayout(maps, n));

    /// <summary>Normal matrix and gradient at the present point, of the profiles alone.</summary>
    public (double[,] H, double[] G) DataNormal()
    {
        Sum();
        (double[,] h, double[] g) = Normal.Plain();
        for (int i = 0; i < n; i++)
        {
            double w = 1 / (priorSigma[i] * priorSigma[i]);
            h[i, i] -= w;
            g[i] -= w * (priorMean[i] - X[i]);
        }

        return (h, g);
    }

    /// <summary>Moves the middle of every unknown's prior by its own scatter: refits then roam as far as the priors let them.</summary>
    public void ScatterPriors(Random random)
    {
        for (int i = 0; i < n; i++)
        {
            priorMean[i] += priorSigma[i] < Flat ? priorSigma[i] * Gaussian(random) : 0;
        }
    }

    public bool Run(double[] start, RunContext context, int maxTurns = 40, bool reweight = true, bool covariance = true, bool pointOnly = false,
        double settled = Settled, double damping = 1e-3)
    {
        X = (double[])start.Clone();
        double[] trial = X;
        double best = Evaluate(trial, context);
        Commit(context);
        bool converged = false, elsewhere = false;
        int reweights = reweight ? 2 : 0;
        Sum();
        for (int turn = 0; turn < maxTurns; turn++)
        {
            context.Cancel.ThrowIfCancellationRequested();
            double[] step = Normal.Step(damping);
            trial = [.. X.Zip(step, (a, b) => a + b)];
            if (pointOnly && turn > 0 && Normal.Gain(step) < settled * Math.Max(1, best / DegreesOfFreedom))
            {
                // The last step, of which nothing but its end is wanted.
                X = trial;
                ChiSquare = best;
                return true;
            }

            for (int k = 0; k < blocks.Count; k++)
            {
                blocks[k].Propose(defocus[k].At(trial) - defocus[k].At(X), logSeeing[k].At(trial) - logSeeing[k].At(X), blur[k].At(trial) - blur[k].At(X));
            }

            double chi = Evaluate(trial, context);
            if (chi <= best + (Rounding * settled * Math.Max(1, best / DegreesOfFreedom)))
            {
                double gain = best - chi;
                X = trial;
                best = chi;
                elsewhere = false;
                Commit(context);
                Sum();
                damping = Math.Max(1e-7, damping * 0.2);
                if (gain < settled * Math.Max(1, best / DegreesOfFreedom))
                {
                    if (reweights-- <= 0)
                    {
                        converged = true;
                        break;
                    }

                    double scale = Scale;
                    foreach (ProfileBlock b in blocks)
                    {
                        b.Reweight(scale);
                        b.Propose(0, 0, 0);
                    }

                    best = Evaluate(X, context);
                    Commit(context);
                    Sum();
                }
            }
            else
            {
                damping *= 8;
                elsewhere = true;
                if (damping > 1e8)
                {
                    converged = true;
                    break;
                }
            }
        }

        if (elsewhere)
        {
            // The last proposal was refused: bring every block back to the best point.
            foreach (ProfileBlock b in blocks)
            {
                b.Restore();
            }

            best = Evaluate(X, context);
            Commit(context);
            Sum();
        }

        ChiSquare = best;
        if (covariance)
        {
            Covariance = Normal.Covariance();
        }

        return converged;
    }

    /// <summary>Shared unknowns of linearized refits to residuals with random signs (wild bootstrap, Wu 1986, Ann. Stat. 14, 1261).</summary>
    /// <remarks>A refit knows the signs by three sums over the rows of each profile. Of tens of rows these are normal, by the central
    /// limit theorem, with the covariance of the squared terms: they are drawn, not the signs.</remarks>
    public double[][] LinearBootstrap(int replicates, int seed, RunContext context)
    {
        var gradient = new double[replicates][];
        for (int b = 0; b < replicates; b++)
        {
            gradient[b] = new double[n];
        }

        var perBlock = new double[blocks.Count][];
        Parallel.For(0, blocks.Count, context.Parallel, k =>
            perBlock[k] = blocks[k].SignedSums(replicates, Variances(k), RandomStream.Of(seed, k)));
        for (int k = 0; k < blocks.Count; k++)
        {
            for (int b = 0; b < replicates; b++)
            {
                for (int i = 0; i < maps.Length; i++)
                {
                    Add(gradient[b], maps[i][k], perBlock[k][(ProfileBlock.Shared * b) + i]);
                }
            }
        }

        // Unknowns with a prior also carry the prior's own scatter.
        Random prior = RandomStream.Of(seed, -1);
        for (int b = 0; b < replicates; b++)
        {
            for (int i = 0; i < n; i++)
            {
                if (priorSigma[i] < Flat)
                {
                    gradient[b][i] += Gaussian(prior) / priorSigma[i];
                }
            }
        }

        Normal.SolveFor(gradient);
        return [.. gradient.Select(step => X.Zip(step, (a, d) => a + d).ToArray())];
    }

    /// <summary>Squared misfit that the bend of the profiles with defocus makes over the reach of the errors, the mean over them.</summary>
    /// <remarks>A profile is even in the defocus z: its second derivative is the first one's over z near focus, and no more than that over a
    /// third of a wave elsewhere. Of a normal error the fourth power's mean is three times the variance squared.</remarks>
    /// <param name="nm">Wavelength of each profile.</param>
    /// <param name="focalRatio">Of the telescope.</param>
    public double Bend(double[] nm, double focalRatio)
    {
        double sum = 0;
        for (int k = 0; k < blocks.Count; k++)
        {
            double z = Math.Abs(defocus[k].At(X)), unit = 0.3 * 8 * focalRatio * focalRatio * nm[k] / 1000, variance = Variances(k)[0, 0] * Scale * Scale;
            double bend = 0.5 * ((1 / Math.Max(z, 1e-6)) + (1 / unit));
            sum += 3 * blocks[k].H[0, 0] * bend * bend * variance * variance;
        }

        return sum;
    }

    /// <summary>Squared misfit at the best point near by, as the model's slope there has it.</summary>
    public double Foot(double[] at, RunContext context)
    {
        X = (double[])at.Clone();
        double here = Evaluate(X, context);
        Commit(context);
        Sum();
        return here - Normal.Gain(Normal.Step(0));
    }

    /// <summary>Covariance of one block's defocus, log seeing and blur variance, for noise as expected.</summary>
    public double[,] Variances(int block)
    {
        double Between(LinearMap a, LinearMap b)
        {
            double sum = 0;
            for (int i = 0; i < a.Index.Length; i++)
            {
                for (int j = 0; j < b.Index.Length; j++)
                {
                    sum += a.Coefficient[i] * b.Coefficient[j] * Covariance[a.Index[i], b.Index[j]];
                }
            }

            return sum;
        }

        var v = new double[maps.Length, maps.Length];
        for (int i = 0; i < maps.Length; i++)
        {
            for (int j = 0; j <= i; j++)
            {
                v[i, j] = v[j, i] = Between(maps[i][block], maps[j][block]);
            }
        }

        return v;
    }

    public static double Gaussian(Random random) =>
        Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());

    /// <summary>Two normal numbers that know nothing of each other (Box and Muller 1958).</summary>
    public static (double One, double Two) TwoGaussians(Random random)
    {
        double size = Math.Sqrt(-2 * Math.Log(1 - random.NextDouble()));
        (double sin, double cos) = Math.SinCos(2 * Math.PI * random.NextDouble());
        return (size * cos, size * sin);
    }

    private static void Add(double[] target, LinearMap map, double value)
    {
        for (int i = 0; i < map.Index.Length; i++)
        {
            target[map.Index[i]] += map.Coefficient[i] * value;
        }
    }

    private void Sum() => Normal.Sum(blocks, X, priorMean, priorSigma);

    private void Commit(RunContext context) => Each(context, (k, _) =>
    {
        blocks[k].Accept();
        blocks[k].Linearize();
    });

    /// <summary>Something for every block, each by itself.</summary>
    private void Each(RunContext context, Action<int, ProfileModel.Work> act)
    {
        if (context.Threads > 1)
        {
            Parallel.For(0, blocks.Count, context.Parallel, () => blocks[0].Model.NewWork(), (k, _, work) =>
            {
                act(k, work);
                return work;
            }, _ => { });
            return;
        }

        own ??= blocks[0].Model.NewWork();
        for (int k = 0; k < blocks.Count; k++)
        {
            act(k, own);
        }
    }

    private double Evaluate(double[] x, RunContext context)
    {
        Each(context, (k, work) => blocks[k].Evaluate(defocus[k].At(x), Math.Exp(Math.Clamp(logSeeing[k].At(x), -3, 5)), blur[k].At(x), work));
        double chi = 0;
        for (int k = 0; k < blocks.Count; k++)
        {
            chi += blocks[k].ChiSquare;
        }

        for (int i = 0; i < n; i++)
        {
            double d = (x[i] - priorMean[i]) / priorSigma[i];
            chi += d * d;
        }

        return double.IsFinite(chi) ? chi : double.PositiveInfinity;
    }
}
