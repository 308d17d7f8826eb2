using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>Over how many pixels the residuals of a fit hang together: a wrong model errs by patches.</summary>
internal static class ResidualPatches
{
    /// <summary>Sum of the residuals' autocorrelation over lags to a sixth of the disc, as wide as rings and patches of a wrong model are.</summary>
    /// <param name="r">Weighted residuals.</param>
    /// <param name="w">Pixels along each side.</param>
    /// <param name="disc">Diameter of the disc, pixels.</param>
    public static double Pixels(float[] r, int w, double disc)
    {
        int lag = Math.Clamp((int)Math.Round(disc / 6), 4, Math.Min(16, (w / 2) - 1));
        double zero = Gram.Dot(r, r);
        if (zero <= 0)
        {
            return 1;
        }

        double sum = 0;
        for (int dy = -lag; dy <= lag; dy++)
        {
            for (int dx = -lag; dx <= lag; dx++)
            {
                for (int y = lag; y < w - lag; y++)
                {
                    int at = (y * w) + lag;
                    sum += Gram.Dot(r.AsSpan(at, w - (2 * lag)), r.AsSpan(at + (dy * w) + dx, w - (2 * lag)));
                }
            }
        }

        return sum / zero;
    }
}
