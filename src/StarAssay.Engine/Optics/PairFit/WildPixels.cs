using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>Single pixels that no model explains: hot ones and hits of particles.</summary>
internal static class WildPixels
{
    /// <summary>Takes them out of use.</summary>
    /// <remarks>A pixel is wild when it stands out from the model and from the other residuals round it: a wrong model makes patterns,
    /// a hot pixel or a particle makes points and short lines.</remarks>
    /// <param name="residual">Weighted residuals of an image.</param>
    /// <param name="use">Which pixels count; those found are set to 0.</param>
    /// <param name="w">Pixels along each side.</param>
    /// <returns>Where they are.</returns>
    public static List<int> Mask(float[] residual, float[] use, int w)
    {
        double[] used = [.. residual.Where((_, i) => use[i] != 0).Select(r => (double)r)];
        (_, double sigma) = Robust.MedianAndSigma(used);
        double limit = 6 * Math.Max(sigma, 1);
        var found = new List<int>();
        var near = new List<double>(48);
        for (int j = 0; j < w; j++)
        {
            for (int i = 0; i < w; i++)
            {
                int at = (j * w) + i;
                if (use[at] == 0 || Math.Abs(residual[at]) < limit)
                {
                    continue;
                }

                near.Clear();
                for (int b = Math.Max(0, j - 3); b <= Math.Min(w - 1, j + 3); b++)
                {
                    for (int a = Math.Max(0, i - 3); a <= Math.Min(w - 1, i + 3); a++)
                    {
                        int q = (b * w) + a;
                        if (q != at && use[q] != 0)
                        {
                            near.Add(residual[q]);
                        }
                    }
                }

                (double middle, double spread) = Robust.MedianAndSigma([.. near]);
                if (Math.Abs(residual[at] - middle) > 6 * Math.Max(spread, 1))
                {
                    found.Add(at);
                }
            }
        }

        foreach (int at in found)
        {
            use[at] = 0;
        }

        return found;
    }
}
