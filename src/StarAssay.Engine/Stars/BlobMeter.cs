using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Stars;

/// <summary>Measures the area above half of a peak; each worker has its own.</summary>
internal sealed class BlobMeter(Frame frame)
{
    // Most areas are small: the large patch is read only where the small one does not do.
    private const int SmallReach = 12;
    private const int LargeReach = 56;
    private const int MostSide = (2 * LargeReach) + 1;

    // Half of the peak must stand this far above the sky, in the noise of a pixel, or the area runs out into it; a third of that is
    // what the mean of nine pixels scatters by.
    private const double ClearOfNoise = 1.5;

    // What a mean over 3 x 3 pixels adds to a squared width: 8 ln 2 x 2/3.
    private const double Smoothing = 3.7;
    private const byte Inside = 1;
    private const byte Outside = 2;

    private readonly FrameReader reader = new(frame);
    private readonly float[] patch = new float[(MostSide + 2) * (MostSide + 2)];
    private readonly byte[] state = new byte[MostSide * MostSide];
    private readonly int[] stack = new int[MostSide * MostSide];
    private int side;

    /// <summary>Measures one.</summary>
    public Blob Measure(Seed seed, BackgroundMesh mesh)
    {
        SkySample sky = mesh.At(seed.X, seed.Y);
        float level = 0.5f * seed.Height;
        if (!(level > ClearOfNoise * sky.Noise))
        {
            return new Blob(seed.X, seed.Y, 0, 0);
        }

        foreach (int reach in new[] { SmallReach, LargeReach })
        {
            Read(seed, (float)sky.Level, reach);
            if (Area(seed, level, reach) is Blob blob)
            {
                return blob;
            }
        }

        return new Blob(seed.X, seed.Y, double.PositiveInfinity, int.MaxValue);
    }

    /// <summary>The area in the patch that was read; null when it leaves the patch.</summary>
    private Blob? Area(Seed seed, float level, int reach)
    {
        Array.Clear(state, 0, side * side);
        int count = 0, bright = 0, x0 = reach, x1 = reach, y0 = reach, y1 = reach;
        Push((reach * side) + reach, Inside, ref count);
        while (count > 0)
        {
            int at = stack[--count], x = at % side, y = at / side;
            if (x == 0 || y == 0 || x == side - 1 || y == side - 1)
            {
                return null;
            }

            bright++;
            (x0, x1, y0, y1) = (Math.Min(x0, x), Math.Max(x1, x), Math.Min(y0, y), Math.Max(y1, y));
            foreach (int next in (ReadOnlySpan<int>)[at - 1, at + 1, at - side, at + side])
            {
                if (state[next] == 0 && At(next) > level)
                {
                    Push(next, Inside, ref count);
                }
            }
        }

        // Outside is all that can be reached without crossing the area; one pixel more than it on all sides, which are inside the patch.
        (x0, x1, y0, y1) = (x0 - 1, x1 + 1, y0 - 1, y1 + 1);
        Push((y0 * side) + x0, Outside, ref count);
        while (count > 0)
        {
            int at = stack[--count], x = at % side, y = at / side;
            Spread(at - 1, x > x0, ref count);
            Spread(at + 1, x < x1, ref count);
            Spread(at - side, y > y0, ref count);
            Spread(at + side, y < y1, ref count);
        }

        long area = 0, sumX = 0, sumY = 0;
        for (int y = y0; y <= y1; y++)
        {
            for (int x = x0; x <= x1; x++)
            {
                if (state[(y * side) + x] != Outside)
                {
                    area++;
                    sumX += x;
                    sumY += y;
                }
            }
        }

        double diameter = Math.Sqrt(Math.Max(1, (4 * area / Math.PI) - Smoothing));
        return new Blob(seed.X + ((double)sumX / area) - reach, seed.Y + ((double)sumY / area) - reach, diameter, bright);
    }

    private void Push(int at, byte mark, ref int count)
    {
        state[at] = mark;
        stack[count++] = at;
    }

    private void Spread(int next, bool within, ref int count)
    {
        if (within && state[next] == 0)
        {
            Push(next, Outside, ref count);
        }
    }

    private void Read(Seed seed, float sky, int reach)
    {
        side = (2 * reach) + 1;
        int wide = side + 2, x0 = seed.X - reach - 1;
        int from = Math.Max(0, -x0), to = Math.Min(wide, frame.Width - x0);
        for (int j = 0; j < wide; j++)
        {
            int y = seed.Y - reach - 1 + j;
            Span<float> line = patch.AsSpan(j * wide, wide);
            line.Clear();
            if (y < 0 || y >= frame.Height)
            {
                continue;
            }

            reader.Row(y, x0 + from, line[from..to]);
            for (int i = from; i < to; i++)
            {
                line[i] = float.IsFinite(line[i]) ? line[i] - sky : 0;
            }
        }
    }

    /// <summary>Mean of 3 x 3 pixels.</summary>
    private float At(int at)
    {
        int wide = side + 2, a = ((at / side) * wide) + (at % side), b = a + wide, c = b + wide;
        float[] p = patch;
        return (p[a] + p[a + 1] + p[a + 2] + p[b] + p[b + 1] + p[b + 2] + p[c] + p[c + 1] + p[c + 2]) / 9;
    }
}
