namespace StarAssay.Engine.Numerics;

/// <summary>Middle and spread that a few wild values do not move.</summary>
internal static class Robust
{
    /// <summary>Median; NaN when empty. Leaves its input alone.</summary>
    public static double Median(ReadOnlySpan<double> values) => MedianInPlace(values.ToArray());

    /// <summary>Median of a sequence; NaN when empty.</summary>
    public static double Median(IEnumerable<double> values) => MedianInPlace(values.ToArray());

    // A sort of fewer is quicker than a selection.
    private const int Few = 24;

    /// <summary>Median; NaN when empty. Leaves its input in another order.</summary>
    public static double MedianInPlace(Span<double> values)
    {
        if (values.IsEmpty)
        {
            return double.NaN;
        }

        int n = values.Length;
        if (n > Few && !HoldsNaN(values))
        {
            double upper = Rank.Select(values, n / 2);
            return n % 2 == 1 ? upper : 0.5 * (Highest(values[..(n / 2)]) + upper);
        }

        values.Sort();
        return n % 2 == 1 ? values[n / 2] : 0.5 * (values[(n / 2) - 1] + values[n / 2]);
    }

    /// <summary>Median, and 1.4826 times the median distance from it: the standard deviation if the bulk is normal.</summary>
    public static (double Median, double Sigma) MedianAndSigma(ReadOnlySpan<double> values)
    {
        double median = Median(values);
        double[] distance = new double[values.Length];
        for (int i = 0; i < values.Length; i++)
        {
            distance[i] = Math.Abs(values[i] - median);
        }

        return (median, 1.4826 * Median(distance));
    }

    /// <summary>Mean and standard deviation after throwing out what lies more than 3.5 deviations off, again and again. Unlike
    /// the median distance it does not stick to whole numbers when noise is a few digits of a coarse converter.</summary>
    public static (double Mean, double Sigma) ClippedMeanAndSigma(ReadOnlySpan<double> values)
    {
        (double middle, double sigma) = MedianAndSigma(values);
        sigma = Math.Max(sigma, 1e-300);
        double reach = Math.Max(3.5 * sigma, 1.0);
        for (int round = 0; round < 6; round++)
        {
            double sum = 0;
            double sum2 = 0;
            int n = 0;
            foreach (double v in values)
            {
                if (Math.Abs(v - middle) <= reach)
                {
                    sum += v - middle;
                    sum2 += (v - middle) * (v - middle);
                    n++;
                }
            }

            if (n < 2)
            {
                break;
            }

            double mean = sum / n;
            sigma = Math.Sqrt(Math.Max(0, (sum2 - (n * mean * mean)) / (n - 1)));
            middle += mean;
            reach = 3.5 * sigma;
        }

        return (middle, sigma);
    }

    private static bool HoldsNaN(ReadOnlySpan<double> values)
    {
        foreach (double v in values)
        {
            if (double.IsNaN(v))
            {
                return true;
            }
        }

        return false;
    }

    private static double Highest(ReadOnlySpan<double> values)
    {
        double most = values[0];
        foreach (double v in values)
        {
            most = v > most ? v : most;
        }

        return most;
    }
}
