namespace StarAssay.Engine.Numerics;

/// <summary>Standard uncertainty from leaving out each part of the data in turn.</summary>
internal static class Jackknife
{
    /// <summary>Standard uncertainty of the value from all parts.</summary>
    /// <param name="without">Values without each of them.</param>
    /// <remarks>B. Efron, The Jackknife, the Bootstrap and Other Resampling Plans, SIAM 1982, eq. 3.3 (from memory).</remarks>
    public static double Scatter(double[] without)
    {
        double mean = without.Average(), n = without.Length;
        return Math.Sqrt((n - 1) / n * without.Sum(v => (v - mean) * (v - mean)));
    }
}
