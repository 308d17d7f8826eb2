using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>How a block's defocus, log seeing or blur variance depends on the shared unknowns: sum of coefficient x unknown + constant.</summary>
internal sealed record LinearMap(int[] Index, double[] Coefficient, double Constant)
{
    public double At(double[] x)
    {
        double s = Constant;
        for (int i = 0; i < Index.Length; i++)
        {
            s += Coefficient[i] * x[Index[i]];
        }

        return s;
    }
}

/// <summary>Levenberg-Marquardt over many profiles that share few unknowns; each profile keeps its own flux, offset and center.</summary>
internal sealed class ProfileFit(IReadOnlyList<ProfileBlock> blocks, IReadOnlyList<LinearMap> defocus, IReadOnlyList<LinearMap> logSeeing,
    IReadOnlyList<LinearMap> blur, double[] priorMean, double[] priorSigma)
{
    /// <summary>A standard deviation from which on a prior says nothing.</summary>
    public const double Flat = 1e6;

    private readonly int n = priorMean.Length;
    private readonly IReadOnlyList<LinearMap>[] maps = [defocus, logSeeing, blur];
    private ProfileModel.Work? own;

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

    public Matrix<double> Covariance { get; private set; } = Matrix<double>.Build.Dense(0, 0);

    /// <summary>Normal matrix and gradient at the present point, of the profiles alone.</summary>
    public (Matrix<double> H, double[] G) DataNormal()
    {
        Matrix<double> h = Normal(out double[] g);
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

    public bool Run(double[] start, RunContext context, int maxTurns = 40, bool reweight = true, bool covariance = true)
    {
        X = (double[])start.Clone();
        double damping = 1e-3;
        double[] trial = X;
        double best = Evaluate(trial, context);
        Commit(context);
        bool converged = false, elsewhere = false;
        int reweights = reweight ? 2 : 0;
        Matrix<double> h = Normal(out double[] g);
        for (int turn = 0; turn < maxTurns; turn++)
        {
            context.Cancel.ThrowIfCancellationRequested();
            Matrix<double> damped = h.Clone();
            for (int i = 0; i < n; i++)
            {
                damped[i, i] += (damping * h[i, i]) + 1e-30;
            }

            double[] step = Solve(damped, g);
            trial = [.. X.Zip(step, (a, b) => a + b)];
            for (int k = 0; k < blocks.Count; k++)
            {
                blocks[k].Propose(defocus[k].At(trial) - defocus[k].At(X), logSeeing[k].At(trial) - logSeeing[k].At(X), blur[k].At(trial) - blur[k].At(X));
            }

            double chi = Evaluate(trial, context);
            if (chi <= best)
            {
                double gain = best - chi;
                X = trial;
                best = chi;
                elsewhere = false;
                Commit(context);
                h = Normal(out g);
                damping = Math.Max(1e-7, damping * 0.2);
                if (gain < 0.01 * Math.Max(1, best / DegreesOfFreedom))
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
                    h = Normal(out g);
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
            h = Normal(out _);
        }

        ChiSquare = best;
        if (covariance)
        {
            Covariance = Inverse(h);
        }

        return converged;
    }

    /// <summary>Shared unknowns of linearized refits to residuals with random signs (wild bootstrap, Wu 1986, Ann. Stat. 14, 1261).</summary>
    public double[][] LinearBootstrap(int replicates, int seed, RunContext context)
    {
        var gradient = new double[replicates][];
        for (int b = 0; b < replicates; b++)
        {
            gradient[b] = new double[n];
        }

        var perBlock = new double[blocks.Count][];
        Parallel.For(0, blocks.Count, context.Parallel, k =>
        {
            ProfileBlock block = blocks[k];
            var random = new Random(unchecked((seed * 7919) + k));
            double[,] v = Variances(k);
            var sums = new double[ProfileBlock.Shared * replicates];
            for (int r = 0; r < block.Scaled.Length; r++)
            {
                double error = block.Scaled[r] / block.Shrinkage(r, v);
                double z = block.Projected[0][r] * error, s = block.Projected[1][r] * error, t = block.Projected[2][r] * error;
                if (z == 0 && s == 0)
                {
                    continue;
                }

                long bits = 0;
                for (int b = 0; b < replicates; b++)
                {
                    if (b % 62 == 0)
                    {
                        bits = random.NextInt64();
                    }

                    double sign = (bits & 1) == 0 ? 1 : -1;
                    bits >>= 1;
                    sums[3 * b] += sign * z;
                    sums[(3 * b) + 1] += sign * s;
                    sums[(3 * b) + 2] += sign * t;
                }
            }

            double[] drift = block.Drift();
            bool doubted = drift.Any(d => d != 0);
            for (int b = 0; b < replicates && doubted; b++)
            {
                double off = Gaussian(random);
                for (int i = 0; i < ProfileBlock.Shared; i++)
                {
                    sums[(ProfileBlock.Shared * b) + i] += off * drift[i];
                }
            }

            perBlock[k] = sums;
        });
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
        var prior = new Random(unchecked((seed * 7919) - 1));
        var result = new double[replicates][];
        for (int b = 0; b < replicates; b++)
        {
            for (int i = 0; i < n; i++)
            {
                if (priorSigma[i] < Flat)
                {
                    gradient[b][i] += Gaussian(prior) / priorSigma[i];
                }
            }

            double[] step = (Covariance * Vector<double>.Build.DenseOfArray(gradient[b])).ToArray();
            result[b] = [.. X.Zip(step, (a, d) => a + d)];
        }

        return result;
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

    private static void Add(double[] target, LinearMap map, double value)
    {
        for (int i = 0; i < map.Index.Length; i++)
        {
            target[map.Index[i]] += map.Coefficient[i] * value;
        }
    }

    private static double[] Solve(Matrix<double> h, double[] g)
    {
        // Scale to a unit diagonal first: unknowns differ by many orders of magnitude.
        int n = g.Length;
        double[] d = [.. Enumerable.Range(0, n).Select(i => 1 / Math.Sqrt(Math.Max(h[i, i], 1e-300)))];
        Matrix<double> scaled = Matrix<double>.Build.Dense(n, n, (i, j) => h[i, j] * d[i] * d[j]);
        for (int i = 0; i < n; i++)
        {
            scaled[i, i] += 1e-11;
        }

        Vector<double> x = scaled.Cholesky().Solve(Vector<double>.Build.Dense(n, i => g[i] * d[i]));
        return [.. x.Select((v, i) => v * d[i])];
    }

    private static Matrix<double> Inverse(Matrix<double> h)
    {
        int n = h.RowCount;
        double[] d = [.. Enumerable.Range(0, n).Select(i => 1 / Math.Sqrt(Math.Max(h[i, i], 1e-300)))];
        Matrix<double> scaled = Matrix<double>.Build.Dense(n, n, (i, j) => (h[i, j] * d[i] * d[j]) + (i == j ? 1e-11 : 0));
        Matrix<double> inverse = scaled.Cholesky().Solve(Matrix<double>.Build.DenseIdentity(n));
        return Matrix<double>.Build.Dense(n, n, (i, j) => inverse[i, j] * d[i] * d[j]);
    }

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

    private Matrix<double> Normal(out double[] gradient)
    {
        // Columns one after the other, as the library keeps them; the lower half, since it is symmetric.
        var h = new double[n * n];
        var g = new double[n];
        for (int k = 0; k < blocks.Count; k++)
        {
            ProfileBlock b = blocks[k];
            for (int i = 0; i < maps.Length; i++)
            {
                Add(g, maps[i][k], b.G[i]);
                for (int j = 0; j < maps.Length; j++)
                {
                    Scatter(h, maps[i][k], maps[j][k], b.H[i, j]);
                }
            }
        }

        for (int i = 0; i < n; i++)
        {
            double w = 1 / (priorSigma[i] * priorSigma[i]);
            h[(i * n) + i] += w;
            g[i] += w * (priorMean[i] - X[i]);
            for (int j = 0; j < i; j++)
            {
                h[(i * n) + j] = h[(j * n) + i];
            }
        }

        gradient = g;
        return Matrix<double>.Build.Dense(n, n, h);
    }

    private void Scatter(double[] h, LinearMap rows, LinearMap columns, double value)
    {
        for (int j = 0; j < columns.Index.Length; j++)
        {
            int column = columns.Index[j];
            double part = columns.Coefficient[j] * value;
            for (int i = 0; i < rows.Index.Length; i++)
            {
                if (rows.Index[i] >= column)
                {
                    h[(column * n) + rows.Index[i]] += rows.Coefficient[i] * part;
                }
            }
        }
    }
}
