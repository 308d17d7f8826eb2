namespace StarAssay.Engine.Numerics;

/// <summary>Middle and spread that a few wild values do not move.</summary>
internal static class Robust
{
    /// <summary>Median; NaN when empty. Sorts a copy.</summary>
    public static double Median(ReadOnlySpan<double> values)
    {
        if (values.IsEmpty)
        {
            return double.NaN;
        }

        double[] sorted = values.ToArray();
        Array.Sort(sorted);
        int n = sorted.Length;
        return n % 2 == 1 ? sorted[n / 2] : 0.5 * (sorted[(n / 2) - 1] + sorted[n / 2]);
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
}
