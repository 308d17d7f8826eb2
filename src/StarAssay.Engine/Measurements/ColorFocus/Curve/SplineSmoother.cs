using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>A smoothing spline through values with known errors; how smooth it is comes from the data by restricted maximum
/// likelihood (Patterson and Thompson 1971, Biometrika 58, 545).</summary>
internal sealed class SplineSmoother
{
    private readonly SplineBasis basis;
    private readonly Matrix<double> inverse; // covariance of the coefficients, for errors as given
    private readonly double[] precision; // of the walk, for errors as given
    private readonly Matrix<double> solve;

    private SplineSmoother(SplineBasis basis, Matrix<double> inverse, double[] precision, Matrix<double> solve, double[] coefficients, double scatter,
        double[] sigma)
    {
        this.basis = basis;
        this.inverse = inverse;
        this.precision = precision;
        this.solve = solve;
        Coefficients = coefficients;
        Scatter = scatter;
        Sigma = sigma;
    }

    /// <summary>Of the basis' functions.</summary>
    public double[] Coefficients { get; }

    /// <summary>How many times as much as their errors say the values scatter about the curve; at least 1.</summary>
    public double Scatter { get; }

    /// <summary>Errors used: larger than given where a value stands far off.</summary>
    public double[] Sigma { get; }

    /// <summary>Fits the curve; values that stand off by more than 3.5 errors lose weight.</summary>
    public static SplineSmoother Fit(SplineBasis basis, double[] nm, double[] value, double[] sigma)
    {
        double[] used = (double[])sigma.Clone();
        SplineSmoother result = Once(basis, nm, value, used);
        for (int turn = 0; turn < 10; turn++)
        {
            double[] off = [.. nm.Select((w, i) => Math.Abs(value[i] - SplineBasis.Dot(basis.At(w), result.Coefficients)))];
            // Scatter of most, so that one far off does not hide behind the scatter that it makes.
            double scatter = Math.Max(1, 1.4826 * Robust.Median(off.Select((d, i) => d / sigma[i])));
            bool changed = false;
            for (int i = 0; i < nm.Length; i++)
            {
                double next = Math.Max(sigma[i], off[i] / 3.5 / scatter);
                next = off[i] > 3.5 * scatter * sigma[i] ? 4 * next : next;
                changed |= Math.Abs(next - used[i]) > 0.05 * used[i];
                used[i] = next;
            }

            if (!changed)
            {
                break;
            }

            result = Once(basis, nm, value, used);
        }

        return result;
    }

    /// <summary>Coefficients for other values at the same places.</summary>
    public double[] Refit(double[] value) => (solve * Vector<double>.Build.DenseOfArray(value)).ToArray();

    /// <summary>A draw of how far the curve may be off for being smooth: what the errors of the values do not show.</summary>
    public double[] DrawBias(Random random)
    {
        Vector<double> g = Vector<double>.Build.Dense(precision.Length,
            k => Scatter * Math.Sqrt(precision[k]) * (precision[k] > 0 ? ProfileFit.Gaussian(random) : 0));
        return (inverse * g).ToArray();
    }

    private static SplineSmoother Once(SplineBasis basis, double[] nm, double[] value, double[] sigma)
    {
        int m = nm.Length, n = SplineBasis.Count;
        double span = value.Max() - value.Min();
        double unit = Math.Max(span, sigma.Average());
        Matrix<double> phi = Matrix<double>.Build.DenseOfRowArrays(nm.Select((w, i) => basis.At(w).Select(v => v / sigma[i]).ToArray()));
        Matrix<double> normal = phi.TransposeThisAndMultiply(phi);
        Vector<double> y = Vector<double>.Build.Dense(m, i => value[i] / sigma[i]);
        Vector<double> right = phi.TransposeThisAndMultiply(y);
        double best = double.MaxValue;
        (Matrix<double> Inverse, double[] Precision, Vector<double> C, double Scatter) kept = (normal, [], right, 1);
        for (double log = -12; log <= 14; log += 0.5)
        {
            double size = unit * Math.Exp(log);
            double[] p = [.. Enumerable.Range(0, n).Select(k => k < SplineBasis.Free ? 0 : 1 / (size * size * SplineBasis.Variance(k)))];
            Matrix<double> h = normal.Clone();
            double walk = 0;
            for (int k = 0; k < n; k++)
            {
                h[k, k] += p[k] + 1e-12;
                walk += p[k] > 0 ? -Math.Log(p[k]) : 0;
            }

            var cholesky = h.Cholesky();
            Vector<double> c = cholesky.Solve(right);
            double chi = (y - (phi * c)).L2Norm();
            chi = (chi * chi) + c.Select((v, k) => p[k] * v * v).Sum();
            double free = Math.Max(1, m - SplineBasis.Free);
            double scatter2 = Math.Max(1, chi / free);
            double score = (free * Math.Log(scatter2)) + (chi / scatter2) + cholesky.DeterminantLn + walk;
            if (score < best)
            {
                best = score;
                kept = (cholesky.Solve(Matrix<double>.Build.DenseIdentity(n)), p, c, Math.Sqrt(scatter2));
            }
        }

        Matrix<double> solve = kept.Inverse * phi.Transpose();
        for (int i = 0; i < m; i++)
        {
            solve.SetColumn(i, solve.Column(i) / sigma[i]);
        }

        return new SplineSmoother(basis, kept.Inverse, kept.Precision, solve, kept.C.ToArray(), kept.Scatter, (double[])sigma.Clone());
    }
}
