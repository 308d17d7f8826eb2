using MathNet.Numerics.LinearAlgebra;

namespace StarAssay.Engine.Numerics;

/// <summary>Polynomials, lowest power first.</summary>
internal static class RobustPolynomial
{
    /// <summary>Weighted polynomial, lowest power first, with rejection at 4 robust deviations.</summary>
    public static double[] Fit(ReadOnlySpan<double> x, ReadOnlySpan<double> y, ReadOnlySpan<double> weight, int degree, out double scatter)
    {
        int n = x.Length;
        var keep = new bool[n];
        Array.Fill(keep, true);
        double[] c = [];
        scatter = double.NaN;
        for (int turn = 0; turn < 5; turn++)
        {
            int kept = keep.Count(k => k);
            int d = Math.Min(degree, Math.Max(0, kept - 2));
            var a = Matrix<double>.Build.Dense(d + 1, d + 1);
            var b = Vector<double>.Build.Dense(d + 1);
            for (int i = 0; i < n; i++)
            {
                if (keep[i])
                {
                    double pi = weight[i];
                    for (int j = 0; j <= d; j++)
                    {
                        double pj = pi;
                        b[j] += pi * y[i];
                        for (int k = 0; k <= d; k++)
                        {
                            a[j, k] += pj * Math.Pow(x[i], k);
                        }

                        pi *= x[i];
                    }
                }
            }

            c = a.Solve(b).ToArray();
            var residual = new double[n];
            for (int i = 0; i < n; i++)
            {
                residual[i] = y[i] - At(c, x[i]);
            }

            double[] used = [.. residual.Where((_, i) => keep[i])];
            scatter = 1.4826 * Robust.Median(used.Select(Math.Abs));
            bool changed = false;
            for (int i = 0; i < n; i++)
            {
                bool good = Math.Abs(residual[i]) <= Math.Max(4 * scatter, 0.05);
                changed |= good != keep[i];
                keep[i] = good;
            }

            if (!changed)
            {
                break;
            }
        }

        return c;
    }

    /// <summary>Value at a place.</summary>
    public static double At(ReadOnlySpan<double> polynomial, double x)
    {
        double sum = 0;
        for (int i = polynomial.Length - 1; i >= 0; i--)
        {
            sum = (sum * x) + polynomial[i];
        }

        return sum;
    }
}
