using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <summary>A peak of the filtered frame: where a star may be.</summary>
/// <param name="X">Column of the peak.</param>
/// <param name="Y">Row of the peak.</param>
/// <param name="Height">Filtered value above the sky, ADU.</param>
/// <param name="Significance">Height over the noise of the filtered sky.</param>
internal readonly record struct Seed(int X, int Y, float Height, float Significance)
{
    /// <summary>Indices of seeds, the most significant first; equal ones keep their order.</summary>
    public static int[] BySignificance(Seed[] seeds)
    {
        float[] keys = new float[seeds.Length];
        for (int i = 0; i < keys.Length; i++)
        {
            keys[i] = seeds[i].Significance;
        }

        return Ranking.Descending(keys);
    }
}
