using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Stars;

/// <summary>
/// The level at which a frame clips, read from its brightest stars where no card states it: several pixels of several stars share one
/// value, and none is above it. Noise lets no two bright pixels share one.
/// </summary>
internal static class ClippingLevel
{
    private const int Looked = 400;
    private const int Reach = 2;
    private const int Side = (2 * Reach) + 1;

    // So many pixels in each of so many stars; or one star with so many.
    private const int Shared = 3;
    private const int Stars = 2;
    private const int SharedByOne = 9;

    /// <summary>The level in ADU; NaN when the stars show none.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="peaks">All its peaks.</param>
    public static double Of(Frame frame, Seed[] peaks)
    {
        int[] ranked = Seed.BySignificance(peaks);
        int count = Math.Min(ranked.Length, Looked);
        var reader = new FrameReader(frame);
        float[] values = new float[count * Side * Side];
        Array.Fill(values, float.NaN);
        float highest = float.NegativeInfinity;
        for (int k = 0; k < count; k++)
        {
            Seed seed = peaks[ranked[k]];
            int from = Math.Max(0, seed.X - Reach), to = Math.Min(frame.Width, seed.X + Reach + 1);
            for (int j = -Reach; j <= Reach; j++)
            {
                if (seed.Y + j >= 0 && seed.Y + j < frame.Height)
                {
                    Span<float> row = values.AsSpan(((k * Side) + j + Reach) * Side, to - from);
                    reader.Row(seed.Y + j, from, row);
                    foreach (float v in row)
                    {
                        highest = v > highest ? v : highest;
                    }
                }
            }
        }

        int stars = 0, most = 0;
        for (int k = 0; k < count; k++)
        {
            int at = values.AsSpan(k * Side * Side, Side * Side).Count(highest);
            stars += at >= Shared ? 1 : 0;
            most = Math.Max(most, at);
        }

        return stars >= Stars || most >= SharedByOne ? highest : double.NaN;
    }
}
