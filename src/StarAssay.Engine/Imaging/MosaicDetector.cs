using System.Numerics.Tensors;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging;

/// <summary>Finds the greens of a color mosaic in the pixels.</summary>
/// <remarks>Behind a color mosaic two diagonal neighbors of each 2 x 2 cell see the same green light, the other two see
/// red and blue. Over tiles of sky robust means of the four kinds are compared, so that gradients cancel and stars do
/// not matter. Red and blue cannot be told apart without knowing the light.</remarks>
internal static class MosaicDetector
{
    private const int TilesASide = 16;
    private const int LargestTile = 24;
    private const double Significant = 5;

    public static MosaicEvidence Detect(FrameReader reader, RunContext context)
    {
        Frame frame = reader.Frame;
        int cellsX = frame.Width / 2, cellsY = frame.Height / 2;
        int size = Math.Min(LargestTile, Math.Min(cellsX, cellsY) / 4);
        if (size < 4)
        {
            return new MosaicEvidence(MosaicGreens.Undecided, double.NaN, double.NaN, double.NaN, double.NaN, double.NaN, double.NaN, 0);
        }

        int nx = Math.Min(TilesASide, cellsX / size), ny = Math.Min(TilesASide, cellsY / size);
        double[][] levels = new double[nx * ny][];
        Sharing.For(ny, context, () => new Work(size), (ty, work) =>
        {
            // Each tile starts from the one to the left.
            (work.Guess, work.Noise) = (float.NaN, float.NaN);
            for (int tx = 0; tx < nx; tx++)
            {
                levels[(ty * nx) + tx] = Levels(reader, 2 * Spread(tx, nx, cellsX - size), 2 * Spread(ty, ny, cellsY - size), size, work);
            }
        });
        var main = new List<float>();
        var anti = new List<float>();
        var checker = new List<float>();
        foreach (double[] tile in levels)
        {
            if (tile is [double a, double b, double c, double d])
            {
                main.Add((float)(a - d));
                anti.Add((float)(b - c));
                checker.Add((float)(((a + d) / 2) - ((b + c) / 2)));
            }
        }

        (double m, double me) = Center(main);
        (double n, double ne) = Center(anti);
        (double k, double ke) = Center(checker);
        return new MosaicEvidence(Conclude(m, me, n, ne, k, ke, main.Count), m, me, n, ne, k, ke, main.Count);
    }

    private static MosaicGreens Conclude(double main, double mainError, double anti, double antiError, double checker, double checkerError, int tiles)
    {
        if (tiles < 9)
        {
            return MosaicGreens.Undecided;
        }

        bool mainDiffers = Math.Abs(main) > Significant * mainError;
        bool antiDiffers = Math.Abs(anti) > Significant * antiError;
        if (!mainDiffers && !antiDiffers && !(Math.Abs(checker) > Significant * checkerError))
        {
            return MosaicGreens.NoMosaic;
        }

        // The greens agree to a quarter of what separates red from blue.
        return antiDiffers && Math.Abs(main) < 0.25 * Math.Abs(anti) ? MosaicGreens.MainDiagonal
            : mainDiffers && Math.Abs(anti) < 0.25 * Math.Abs(main) ? MosaicGreens.AntiDiagonal
            : MosaicGreens.Undecided;
    }

    private static int Spread(int index, int count, int room) => count == 1 ? room / 2 : (int)((long)index * room / (count - 1));

    /// <summary>Levels of [0,0], [0,1], [1,0], [1,1] in one tile; empty when a tenth of it is unusable.</summary>
    private static double[] Levels(FrameReader reader, int x0, int y0, int size, Work work)
    {
        Span<int> counts = stackalloc int[4];
        float saturation = double.IsNaN(reader.Frame.SaturationAdu) ? float.PositiveInfinity : (float)reader.Frame.SaturationAdu;
        for (int y = 0; y < 2 * size; y++)
        {
            float[] row = work.Row;
            reader.Row(y0 + y, x0, row);

            // Numbers below saturation, all of them: the usual case, without a look at each.
            if (TensorPrimitives.MaxMagnitude<float>(row) < saturation)
            {
                int k = 2 * (y % 2);
                EvenOdd.Split(row, work.Kinds[k].AsSpan(counts[k], size), work.Kinds[k + 1].AsSpan(counts[k + 1], size));
                counts[k] += size;
                counts[k + 1] += size;
                continue;
            }

            for (int half = 0; half < 2; half++)
            {
                float[] kind = work.Kinds[(2 * (y % 2)) + half];
                ref int count = ref counts[(2 * (y % 2)) + half];
                for (int x = half; x < row.Length; x += 2)
                {
                    // Overwritten by the next one when it does not count; NaN and infinity are not below.
                    kind[count] = row[x];
                    count += MathF.Abs(row[x]) < float.PositiveInfinity && row[x] < saturation ? 1 : 0;
                }
            }
        }

        double[] levels = new double[4];
        for (int kind = 0; kind < 4; kind++)
        {
            if (counts[kind] < 0.9 * size * size)
            {
                return [];
            }

            // Whole-number pixels make a plain median jump by one; this mean does not.
            (work.Guess, work.Noise) = BackgroundEstimator.Robust(work.Kinds[kind].AsSpan(0, counts[kind]), work.Guess, work.Noise);
            levels[kind] = work.Guess;
        }

        return levels;
    }

    /// <summary>Work space of one worker.</summary>
    private sealed class Work(int size)
    {
        public readonly float[] Row = new float[2 * size];
        public float Guess;
        public float Noise;
        public readonly float[][] Kinds = [.. Enumerable.Range(0, 4).Select(_ => new float[(size * size) + 1])];
    }

    private static (double Center, double Error) Center(List<float> values)
    {
        float[] copy = [.. values];
        double center = Rank.Median(copy);
        double spread = Rank.MadSigma(copy, center);

        // Standard error of a median, sqrt(pi/2) times that of a mean (large samples).
        return (center, Math.Sqrt(Math.PI / 2) * spread / Math.Sqrt(Math.Max(1, values.Count)));
    }
}
