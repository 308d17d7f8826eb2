using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.NightConditions;

/// <summary>A regression whose residuals wander: what one frame has more than the model the next one has too.</summary>
/// <remarks>
/// <para>Residual = a stationary process with the correlation exp(-t / tau) (Ornstein and Uhlenbeck 1930, Phys. Rev. 36, 823; from memory)
/// + scatter of each frame by itself + the frame's own measurement noise. Times need not be even: the likelihood comes from a Kalman filter with
/// one state, exactly (Kelly et al. 2009, ApJ 698, 895; from memory).</para>
/// <para>Scatter, share of it that wanders, and tau are not known: coefficients are averaged over a grid of all three, each point weighed by its
/// restricted likelihood (Patterson and Thompson 1971, Biometrika 58, 545; from memory), even in the logarithm of the scatter and in the
/// share, with a wide belief about tau. So the bars hold what is not known of the correlation.</para>
/// </remarks>
internal sealed class WanderingSeries
{
    private const int Scatters = 20, Times = 12;

    // Seeing forgets itself within some 20 min: what is believed of tau before the frames speak, and by which factor that may be wrong (Racine 1996,
    // PASP 108, 372, finds 17 min on one site; from memory).
    private const double UsualTau = 1.0 / 3, TauFactor = 3;
    private static readonly double[] OwnShares = [0, 0.1, 0.25, 0.5, 0.75, 1];

    private WanderingSeries(double[] coefficients, Matrix<double> covariance, double scatter, double independent)
    {
        Coefficients = coefficients;
        Covariance = covariance;
        Scatter = scatter;
        Independent = independent;
    }

    /// <summary>One for each column.</summary>
    public double[] Coefficients { get; }

    /// <summary>Theirs, with what is not known of the scatter.</summary>
    public Matrix<double> Covariance { get; }

    /// <summary>Standard deviation of the frames about the model, measurement noise taken out.</summary>
    public double Scatter { get; }

    /// <summary>As many frames without correlation would tell the mean as well.</summary>
    public double Independent { get; }

    /// <summary>Fits.</summary>
    /// <param name="time">Ascending, hours.</param>
    /// <param name="value">What is fitted.</param>
    /// <param name="noise">Standard uncertainty of each by measurement.</param>
    /// <param name="columns">What each coefficient is multiplied with.</param>
    public static WanderingSeries Fit(double[] time, double[] value, double[] noise, double[][] columns)
    {
        int n = time.Length, p = columns.Length;
        double spread = Spread(value, columns), own = Math.Sqrt(noise.Average(s => s * s));
        double[] gaps = [.. Enumerable.Range(1, n - 1).Select(i => time[i] - time[i - 1])];
        double span = time[^1] - time[0], shortest = Robust.Median(gaps.Where(g => g > 0)) / 2;
        double least = Math.Max(0.1 * spread, 1e-6 + (0.01 * own)), most = Math.Max(3.5 * spread, 10 * least);
        double[] tau = [.. Enumerable.Range(0, Times).Select(k => shortest * Math.Pow(Math.Max(span / shortest, 1.5), k / (Times - 1.0)))];
        double[] belief = [.. tau.Select(t => Math.Exp(-0.5 * Math.Pow(Math.Log(t / UsualTau) / Math.Log(TauFactor), 2)))];
        double all = belief.Sum();
        belief = [.. belief.Select(b => b / all)];
        var points = new List<Point>();
        for (int s = 0; s < Scatters; s++)
        {
            double scatter = least * Math.Pow(most / least, s / (Scatters - 1.0));
            foreach (double share in OwnShares)
            {
                // Without a wandering part there is no tau: that point stands for all of them.
                int taus = share < 1 ? Times : 1;
                for (int k = 0; k < taus; k++)
                {
                    points.Add(At(time, value, noise, columns, scatter, share, tau[k]) with { Prior = taus > 1 ? belief[k] : 1 });
                }
            }
        }

        double top = points.Max(q => q.LogLikelihood), sum = 0, scatterMean = 0, independent = 0;
        double[] mean = new double[p];
        var square = Matrix<double>.Build.Dense(p, p);
        foreach (Point q in points)
        {
            double w = q.Prior * Math.Exp(q.LogLikelihood - top);
            sum += w;
            scatterMean += w * q.Scatter;
            independent += w * q.Independent;
            for (int j = 0; j < p; j++)
            {
                mean[j] += w * q.C[j];
                for (int k = 0; k < p; k++)
                {
                    square[j, k] += w * (q.Covariance[j, k] + (q.C[j] * q.C[k]));
                }
            }
        }

        for (int j = 0; j < p; j++)
        {
            mean[j] /= sum;
        }

        var covariance = Matrix<double>.Build.Dense(p, p, (j, k) => (square[j, k] / sum) - (mean[j] * mean[k]));
        return new WanderingSeries(mean, covariance, scatterMean / sum, Math.Clamp(independent / sum, 1, n));
    }

    /// <summary>Value of the model and its standard uncertainty.</summary>
    /// <param name="row">What each coefficient is multiplied with.</param>
    public (double Value, double Sigma) Of(params double[] row)
    {
        (double value, double variance) = (0, 0);
        for (int j = 0; j < row.Length; j++)
        {
            value += row[j] * Coefficients[j];
            for (int k = 0; k < row.Length; k++)
            {
                variance += row[j] * row[k] * Covariance[j, k];
            }
        }

        return (value, Math.Sqrt(Math.Max(0, variance)));
    }

    private static double Spread(double[] value, double[][] columns)
    {
        var a = Matrix<double>.Build.DenseOfColumnArrays(columns);
        var y = Vector<double>.Build.Dense(value);
        Vector<double> left = y - (a * a.QR().Solve(y));
        return left.L2Norm() / Math.Sqrt(Math.Max(1, value.Length - columns.Length));
    }

    private static Point At(double[] time, double[] value, double[] noise, double[][] columns, double scatter, double share, double tau)
    {
        int n = time.Length, p = columns.Length;
        double wander = scatter * scatter * (1 - share), alone = scatter * scatter * share, state = wander, logs = 0, ones = 0, last = 0;
        double[] ahead = new double[p + 1], white = new double[p + 1];
        var a = Matrix<double>.Build.Dense(p, p);
        var b = Vector<double>.Build.Dense(p);
        double yy = 0;
        for (int i = 0; i < n; i++)
        {
            if (i > 0)
            {
                double keep = wander > 0 ? Math.Exp((time[i - 1] - time[i]) / tau) : 0;
                state = wander + (keep * keep * (state - wander));
                last *= keep;
                for (int j = 0; j <= p; j++)
                {
                    ahead[j] *= keep;
                }
            }

            double total = state + alone + (noise[i] * noise[i]), gain = state / total, root = Math.Sqrt(total);
            logs += Math.Log(total);
            double one = 1 - last;
            ones += one * one / total;
            last += gain * one;
            for (int j = 0; j <= p; j++)
            {
                double left = (j < p ? columns[j][i] : value[i]) - ahead[j];
                white[j] = left / root;
                ahead[j] += gain * left;
            }

            state *= 1 - gain;
            yy += white[p] * white[p];
            for (int j = 0; j < p; j++)
            {
                b[j] += white[j] * white[p];
                for (int k = 0; k < p; k++)
                {
                    a[j, k] += white[j] * white[k];
                }
            }
        }

        var factor = a.Cholesky();
        Vector<double> c = factor.Solve(b);
        double squares = yy - (b * c);
        return new Point(-0.5 * (logs + factor.DeterminantLn + squares), [.. c], factor.Solve(Matrix<double>.Build.DenseIdentity(p)), scatter,
            ones * scatter * scatter, 1);
    }

    private sealed record Point(double LogLikelihood, double[] C, Matrix<double> Covariance, double Scatter, double Independent, double Prior);
}
