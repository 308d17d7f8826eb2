namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Medians and clipped means for short lists.</summary>
internal static class Robust
{
    /// <summary>Median; reorders its input. NaN when empty.</summary>
    public static double MedianInPlace(Span<double> values)
    {
        if (values.Length == 0)
        {
            return double.NaN;
        }

        values.Sort();
        int n = values.Length;
        return n % 2 == 1 ? values[n / 2] : 0.5 * (values[(n / 2) - 1] + values[n / 2]);
    }

    /// <summary>Median; leaves its input alone.</summary>
    public static double Median(IEnumerable<double> values) => MedianInPlace(values.ToArray());

    /// <summary>1.4826 x median absolute deviation, the standard deviation of a Gaussian.</summary>
    public static double Scatter(ReadOnlySpan<double> values)
    {
        double[] copy = values.ToArray();
        double median = MedianInPlace(copy);
        for (int i = 0; i < copy.Length; i++)
        {
            copy[i] = Math.Abs(copy[i] - median);
        }

        return 1.4826 * MedianInPlace(copy);
    }

    /// <summary>Mean of what lies within 3.5 robust deviations of the median, its variance of the mean and count.</summary>
    public static (double Mean, double Sigma, int Count) ClippedMean(Span<double> values)
    {
        if (values.Length == 0)
        {
            return (double.NaN, double.NaN, 0);
        }

        double scatter = Scatter(values);
        double median = MedianInPlace(values);
        double limit = Math.Max(3.5 * scatter, 1e-9);
        double sum = 0, squares = 0;
        int n = 0;
        foreach (double v in values)
        {
            if (Math.Abs(v - median) <= limit)
            {
                sum += v - median;
                squares += (v - median) * (v - median);
                n++;
            }
        }

        double mean = sum / n;
        double sigma = n > 1 ? Math.Sqrt(Math.Max(0, (squares - (n * mean * mean)) / (n - 1))) : scatter;
        return (median + mean, sigma, n);
    }

    /// <summary>Weighted polynomial, lowest power first, with rejection at 4 robust deviations.</summary>
    public static double[] Polynomial(ReadOnlySpan<double> x, ReadOnlySpan<double> y, ReadOnlySpan<double> weight, int degree, out double scatter)
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
            var a = MathNet.Numerics.LinearAlgebra.Matrix<double>.Build.Dense(d + 1, d + 1);
            var b = MathNet.Numerics.LinearAlgebra.Vector<double>.Build.Dense(d + 1);
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
                residual[i] = y[i] - Evaluate(c, x[i]);
            }

            double[] used = [.. residual.Where((_, i) => keep[i])];
            scatter = 1.4826 * Median(used.Select(Math.Abs));
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

    public static double Evaluate(ReadOnlySpan<double> polynomial, double x)
    {
        double sum = 0;
        for (int i = polynomial.Length - 1; i >= 0; i--)
        {
            sum = (sum * x) + polynomial[i];
        }

        return sum;
    }
}
