using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Imaging;

/// <summary>Finds the greens of a color mosaic in the pixels.</summary>
/// <remarks>Behind a color mosaic two diagonal neighbors of each 2 x 2 cell see the same green light, the other two see
/// red and blue. Over tiles of sky the medians of the four kinds are compared, so that gradients cancel and stars do
/// not matter. Red and blue cannot be told apart without knowing the light.</remarks>
internal static class MosaicDetector
{
    private const int TilesASide = 16;
    private const int LargestTile = 24;
    private const double Significant = 5;

    public static MosaicEvidence Detect(Frame frame, RowDecoder decoder)
    {
        int cellsX = frame.Width / 2, cellsY = frame.Height / 2;
        int size = Math.Min(LargestTile, Math.Min(cellsX, cellsY) / 4);
        if (size < 4)
        {
            return new MosaicEvidence(MosaicGreens.Undecided, double.NaN, double.NaN, double.NaN, double.NaN, double.NaN, double.NaN, 0);
        }

        int nx = Math.Min(TilesASide, cellsX / size), ny = Math.Min(TilesASide, cellsY / size);
        var main = new List<float>();
        var anti = new List<float>();
        var checker = new List<float>();
        float[][] kinds = [new float[size * size], new float[size * size], new float[size * size], new float[size * size]];
        float[] row = new float[2 * size];
        for (int ty = 0; ty < ny; ty++)
        {
            for (int tx = 0; tx < nx; tx++)
            {
                int x0 = 2 * Spread(tx, nx, cellsX - size), y0 = 2 * Spread(ty, ny, cellsY - size);
                if (Medians(frame, decoder, x0, y0, size, row, kinds) is [double a, double b, double c, double d])
                {
                    main.Add((float)(a - d));
                    anti.Add((float)(b - c));
                    checker.Add((float)(((a + d) / 2) - ((b + c) / 2)));
                }
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

    /// <summary>Medians of [0,0], [0,1], [1,0], [1,1] in one tile; empty when a tenth of it is unusable.</summary>
    private static double[] Medians(Frame frame, RowDecoder decoder, int x0, int y0, int size, float[] row, float[][] kinds)
    {
        Span<int> counts = stackalloc int[4];
        for (int y = 0; y < 2 * size; y++)
        {
            decoder.Decode(y0 + y, x0, row);
            for (int x = 0; x < row.Length; x++)
            {
                bool masked = !frame.Mask.IsEmpty && frame.Mask.Span[checked((int)(((long)(y0 + y) * frame.Width) + x0 + x))] != 0;
                bool clipped = row[x] >= frame.SaturationAdu;
                if (float.IsFinite(row[x]) && !masked && !clipped)
                {
                    int kind = (2 * (y % 2)) + (x % 2);
                    kinds[kind][counts[kind]++] = row[x];
                }
            }
        }

        double[] medians = new double[4];
        for (int kind = 0; kind < 4; kind++)
        {
            if (counts[kind] < 0.9 * size * size)
            {
                return [];
            }

            // Whole-number pixels make the plain median jump by one; the mean of the middle fifth does not.
            Span<float> values = kinds[kind].AsSpan(0, counts[kind]);
            values.Sort();
            int cut = values.Length * 2 / 5;
            double sum = 0;
            for (int i = cut; i < values.Length - cut; i++)
            {
                sum += values[i];
            }

            medians[kind] = sum / (values.Length - (2 * cut));
        }

        return medians;
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
