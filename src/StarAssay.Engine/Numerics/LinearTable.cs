namespace StarAssay.Engine.Numerics;

/// <summary>Straight lines between the points of a table.</summary>
internal static class LinearTable
{
    /// <summary>Value at a place; x rises or falls, and beyond its ends the end values hold.</summary>
    public static double At(double[] x, double[] y, double at)
    {
        int n = x.Length;
        bool rising = x[^1] > x[0];
        int lo = 0, hi = n - 1;
        while (hi - lo > 1)
        {
            int mid = (lo + hi) / 2;
            if (x[mid] <= at == rising)
            {
                lo = mid;
            }
            else
            {
                hi = mid;
            }
        }

        double t = Math.Clamp((at - x[lo]) / (x[hi] - x[lo]), 0, 1);
        return y[lo] + (t * (y[hi] - y[lo]));
    }
}
