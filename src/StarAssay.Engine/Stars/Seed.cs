using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <summary>A peak of the filtered frame: where a star may be.</summary>
/// <param name="X">Column of the peak.</param>
/// <param name="Y">Row of the peak.</param>
/// <param name="Height">Filtered value above the sky, ADU.</param>
/// <param name="Significance">Height over the noise of the filtered sky.</param>
/// <param name="Diameter">Of the disc or ring it stands for, pixels; 0 for an ordinary star.</param>
/// <param name="Unsure">Whether it may as well be a part of the sky's own structure.</param>
internal readonly record struct Seed(int X, int Y, float Height, float Significance, float Diameter = 0, bool Unsure = false)
{
    /// <summary>Second moment to start from, px^2: of a disc of that diameter under a matched Gaussian weight, or the usual one.</summary>
    public double Variance(double usual) => Diameter > 0 ? Diameter * Diameter / 10 : usual;

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
