using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging;

/// <summary>
/// Measures sky level and noise cell by cell.
/// </summary>
/// <remarks>
/// In each cell: rounds of clipping at +-2.5 standard deviations for the noise, then a mean under Tukey's biweight for the level.
/// They start from the cell to the left when they stay near it and come to rest (what a round leaves of a wrong start is known and
/// divided out, so that two readings of the pixels do), else from median and 16 % quantile, found by counting (no sorting).
/// A soft weight is needed since frames of whole ADU rule out a median (rounded) and a hard cut (lopsided by up to 0.05 ADU); the
/// level then errs by less than 0.01. The slope of the sky inside a cell is taken out of its noise. Cells that stick
/// out of their surroundings (bright stars, mostly masked) are replaced by a 3 x 3 median.
/// </remarks>
public static partial class BackgroundEstimator
{
    internal const float ClipAt = 2.5f;

    // Rows of cells smoothed in one go.
    private const int SmoothRows = 16;

    internal const int FewestSamples = 16;
    private const int ClipRounds = 3;
    private const int SoftRounds = 2;

    // Less than this share beside the one value that most samples have are outliers, no noise.
    private const float LeastBeside = 0.01f;

    // Where Tukey's weight reaches zero, in standard deviations.
    internal const float SoftReach = 4;

    // Variance of a unit Gaussian cut at +-2.5: 1 - 2 k phi(k) / (2 Phi(k) - 1).
    internal const float ClippedVariance = 0.911249f;

    // The clip on the scale of Tukey's weight, squared.
    internal const float ClipShare = ClipAt * ClipAt / (SoftReach * SoftReach);

    /// <summary>Measures the mesh of a frame.</summary>
    /// <param name="frame">The frame; NaN and masked pixels are left out.</param>
    /// <param name="cellSize">Wanted cell size in pixels.</param>
    /// <param name="context">Threads and cancellation.</param>
    /// <exception cref="CannotMeasureException">No cell has enough good pixels.</exception>
    public static BackgroundMesh Estimate(Frame frame, int cellSize, RunContext context) => Smooth(Measure(frame, cellSize, context), context);

    /// <summary>Measures the cells, each by itself.</summary>
    internal static SkyCells Measure(Frame frame, int cellSize, RunContext context)
    {
        frame.RequireConsistent();
        int columns = Math.Max(1, (int)Math.Round((double)frame.Width / cellSize));
        int rows = Math.Max(1, (int)Math.Round((double)frame.Height / cellSize));
        int step = RowStep((long)frame.Width * frame.Height);
        double perCell = (double)frame.Width * frame.Height / ((double)columns * rows * step);
        var cells = new SkyCells(frame.Width, frame.Height, columns, rows, new float[columns * rows], new float[columns * rows], perCell);
        var reader = new CellReader(frame, (frame.Width / columns) + 1);
        Action<int, float[]> pair = reader.Format switch
        {
            StoredFormat.UInt16 => RowsIn<StoredUInt16>(reader, cells, step),
            StoredFormat.FileUInt16 => RowsIn<StoredFileUInt16>(reader, cells, step),
            _ => RowsIn<StoredFloat>(reader, cells, step),
        };
        Sharing.For((rows + 1) / 2, context, () => new float[reader.Room((frame.Height / rows) + 1, step)], pair);
        FillMissing(cells.Level, cells.Noise, columns, rows, frame.Name);
        return cells;
    }

    /// <summary>Makes the mesh: outliers replaced by a 3 x 3 median, the sky's slope taken out of the noise.</summary>
    internal static BackgroundMesh Smooth(SkyCells cells, RunContext context)
    {
        float[] smoothLevel = Median3(cells.Level, cells.Columns, cells.Rows, continueStraight: true, context);
        float[] noise = (float[])cells.Noise.Clone();
        if (!cells.NoiseIsOfPixels)
        {
            TakeOutSlope(noise, smoothLevel, cells.Columns, cells.Rows);
        }

        float[] smoothNoise = Median3(noise, cells.Columns, cells.Rows, continueStraight: false, context);
        return new BackgroundMesh(cells.Width, cells.Height, cells.Columns, cells.Rows, smoothLevel, smoothNoise, cells.SamplesPerCell);
    }

    /// <summary>The same mesh at the level of the cells' darkest parts.</summary>
    internal static BackgroundMesh Dark(SkyCells cells, BackgroundMesh mesh)
    {
        float[] noise = [.. Enumerable.Range(0, cells.Level.Length).Select(k => mesh.Noise(k % cells.Columns, k / cells.Columns))];
        return new BackgroundMesh(cells.Width, cells.Height, cells.Columns, cells.Rows, cells.Floor ?? cells.Level, noise, cells.SamplesPerCell);
    }

    /// <summary>Every how many rows are read: all of small frames, every fourth of large ones.</summary>
    private static int RowStep(long pixels) => pixels > 6_000_000 ? 4 : pixels > 1_500_000 ? 2 : 1;

    /// <summary>Level and noise of a set of pixels without NaN.</summary>
    /// <param name="samples">Pixel values.</param>
    /// <param name="guess">A level to start from (NaN: none).</param>
    /// <param name="guessNoise">The noise that goes with it.</param>
    internal static unsafe (float Level, float Noise) Robust(ReadOnlySpan<float> samples, float guess, float guessNoise)
    {
        fixed (float* first = samples)
        {
            var row = new PixelBlock((byte*)first, samples.Length, 1, samples.Length);
            return Near<StoredFloat>(row, guess, guessNoise) ?? Afresh(samples, guess, guessNoise);
        }
    }

    private static (float Level, float Noise)? Near<TPixels>(in PixelBlock block, float guess, float guessNoise)
        where TPixels : struct, IStoredPixels =>
        !Vector128.IsHardwareAccelerated || block.Width < Lanes512.Count ? NearBy<ClipRoundsScalar<TPixels>>(block, guess, guessNoise)
            : Vector512.IsHardwareAccelerated ? NearBy<ClipRoundsLanes<Lanes512, TPixels>>(block, guess, guessNoise)
            : Vector256.IsHardwareAccelerated ? NearBy<ClipRoundsLanes<Lanes256, TPixels>>(block, guess, guessNoise)
        : NearBy<ClipRoundsLanes<Lanes128, TPixels>>(block, guess, guessNoise);

    /// <summary>Level and noise found from a start; null when it stays not near, does not come to rest, or a pixel is missing.</summary>
    internal static (float Level, float Noise)? NearBy<TRounds>(in PixelBlock block, float guess, float guessNoise)
        where TRounds : struct, IClipRounds
    {
        var search = new SkyApproach<TRounds>(block, guess, guessNoise);
        search.First();
        search.Next();
        return search.Result();
    }

    /// <summary>Level and noise without a start; the guess only speeds up the search for the quantiles.</summary>
    private static (float Level, float Noise) Afresh(ReadOnlySpan<float> samples, float guess, float guessNoise) =>
        Vector128.IsHardwareAccelerated ? AfreshVectors(samples, guess, guessNoise) : AfreshScalar(samples, guess, guessNoise);

    private static Action<int, float[]> RowsIn<TPixels>(CellReader reader, SkyCells cells, int step)
        where TPixels : struct, IStoredPixels =>
        !Vector128.IsHardwareAccelerated || cells.Width / cells.Columns < Lanes512.Count
            ? RowsBy<ClipRoundsScalar<TPixels>, ClipRoundsScalar<StoredFloat>, TPixels>(reader, cells, step)
            : Vector512.IsHardwareAccelerated ? RowsBy<ClipRoundsLanes<Lanes512, TPixels>, ClipRoundsLanes<Lanes512, StoredFloat>, TPixels>(reader, cells, step)
            : Vector256.IsHardwareAccelerated ? RowsBy<ClipRoundsLanes<Lanes256, TPixels>, ClipRoundsLanes<Lanes256, StoredFloat>, TPixels>(reader, cells, step)
            : RowsBy<ClipRoundsLanes<Lanes128, TPixels>, ClipRoundsLanes<Lanes128, StoredFloat>, TPixels>(reader, cells, step);

    /// <summary>What measures a pair of rows of cells, with room for a cell's samples.</summary>
    private static Action<int, float[]> RowsBy<TRounds, TDecoded, TPixels>(CellReader reader, SkyCells cells, int step)
        where TRounds : struct, IClipRounds
        where TDecoded : struct, IClipRounds
        where TPixels : struct, IStoredPixels => (pair, samples) => TwoRows<TRounds, TDecoded, TPixels>(reader, samples, 2 * pair, cells, step);

    /// <summary>Two rows of cells side by side: each cell's rounds wait for one another, those of its neighbor above fill the gaps.</summary>
    private static unsafe void TwoRows<TRounds, TDecoded, TPixels>(CellReader reader, float[] samples, int j, SkyCells cells, int step)
        where TRounds : struct, IClipRounds
        where TDecoded : struct, IClipRounds
        where TPixels : struct, IStoredPixels
    {
        using System.Buffers.MemoryHandle pin = reader.Frame.Pixels.Bytes.Pin();
        byte* bytes = (byte*)pin.Pointer;
        bool two = j + 1 < cells.Rows;
        (float Level, float Noise) lower = (float.NaN, float.NaN), upper = lower;
        for (int i = 0; i < cells.Columns; i++)
        {
            CellReader.Cell cell = Place(cells, i, j, step), above = Place(cells, i, j + 1, step);
            var search = new SkyApproach<TRounds>(reader.InPlace<TPixels>(bytes, cell), lower.Level, lower.Noise);
            var searchAbove = new SkyApproach<TRounds>(two ? reader.InPlace<TPixels>(bytes, above) : default, upper.Level, upper.Noise);
            search.First();
            searchAbove.First();
            search.Next();
            searchAbove.Next();
            Keep(search.Result() ?? Decoded<TDecoded>(reader, cell, samples, lower.Level, lower.Noise), cells, (j * cells.Columns) + i, ref lower);
            if (two)
            {
                Keep(searchAbove.Result() ?? Decoded<TDecoded>(reader, above, samples, upper.Level, upper.Noise), cells, ((j + 1) * cells.Columns) + i,
                    ref upper);
            }
        }
    }

    private static CellReader.Cell Place(SkyCells cells, int i, int j, int step)
    {
        int x0 = (int)((long)i * cells.Width / cells.Columns), x1 = (int)((long)(i + 1) * cells.Width / cells.Columns);
        int y0 = (int)((long)j * cells.Height / cells.Rows), y1 = (int)((long)(j + 1) * cells.Height / cells.Rows);
        return new CellReader.Cell(x0, x1, y0 + (step / 2), y1, step);
    }

    /// <summary>Notes a cell, and starts the next from it unless it holds nothing.</summary>
    private static void Keep((float Level, float Noise) found, SkyCells cells, int at, ref (float Level, float Noise) start)
    {
        (cells.Level[at], cells.Noise[at]) = found;
        start = float.IsNaN(found.Level) ? start : found;
    }

    /// <summary>The cell by way of decoded samples; NaN when too few pixels are there.</summary>
    private static unsafe (float Level, float Noise) Decoded<TRounds>(CellReader reader, in CellReader.Cell cell, float[] samples, float guess,
        float guessNoise)
        where TRounds : struct, IClipRounds
    {
        int count = reader.Decode(cell, samples, out bool missing), asked = count, width = cell.X1 - cell.X0;
        if (missing)
        {
            count = DropMissing(samples.AsSpan(0, count));
        }

        if (count < FewestSamples || count * 4 < asked)
        {
            return (float.NaN, float.NaN);
        }

        if (missing)
        {
            return Robust(samples.AsSpan(0, count), guess, guessNoise);
        }

        fixed (float* first = samples)
        {
            // Whole rows stay rows, and registers of the same width go over them, so that the sums run in the same order as where
            // the pixels lie.
            var block = new PixelBlock((byte*)first, width, cell.SampledRows, width);
            return NearBy<TRounds>(block, guess, guessNoise) ?? Afresh(samples.AsSpan(0, count), guess, guessNoise);
        }
    }

    private static int DropMissing(Span<float> samples)
    {
        int kept = 0;
        foreach (float value in samples)
        {
            samples[kept] = value;
            kept += float.IsFinite(value) ? 1 : 0;
        }

        return kept;
    }

    /// <summary>Fills cells without a level from the ring of cells round them.</summary>
    internal static void FillMissing(float[] level, float[] noise, int columns, int rows, string name)
    {
        if (Array.TrueForAll(level, float.IsNaN))
        {
            throw new CannotMeasureException("background.no-pixels",
                $"{name} holds no usable pixels: all are masked, blank or not numbers. Check the file and its mask.", name);
        }

        // Rings outwards from each hole; holes are rare, so the plain search is quick enough.
        float[] oldLevel = (float[])level.Clone(), oldNoise = (float[])noise.Clone();
        for (int j = 0; j < rows; j++)
        {
            for (int i = 0; i < columns; i++)
            {
                for (int ring = 1; float.IsNaN(level[(j * columns) + i]); ring++)
                {
                    double sum = 0, sumNoise = 0;
                    int n = 0;
                    for (int b = Math.Max(0, j - ring); b <= Math.Min(rows - 1, j + ring); b++)
                    {
                        for (int a = Math.Max(0, i - ring); a <= Math.Min(columns - 1, i + ring); a++)
                        {
                            int at = (b * columns) + a;
                            if (!float.IsNaN(oldLevel[at]))
                            {
                                sum += oldLevel[at];
                                sumNoise += oldNoise[at];
                                n++;
                            }
                        }
                    }

                    if (n > 0)
                    {
                        level[(j * columns) + i] = (float)(sum / n);
                        noise[(j * columns) + i] = (float)(sumNoise / n);
                    }
                }
            }
        }
    }

    /// <summary>A level that rises by d across a cell scatters by d / sqrt(12) without any noise.</summary>
    private static void TakeOutSlope(float[] noise, float[] level, int columns, int rows)
    {
        for (int j = 0; j < rows; j++)
        {
            for (int i = 0; i < columns; i++)
            {
                float dx = columns < 2 ? 0 : Rise(level, (j * columns) + Math.Max(0, i - 1), (j * columns) + Math.Min(columns - 1, i + 1),
                    i > 0 && i < columns - 1);
                float dy = rows < 2 ? 0 : Rise(level, (Math.Max(0, j - 1) * columns) + i, (Math.Min(rows - 1, j + 1) * columns) + i, j > 0 && j < rows - 1);
                float square = noise[(j * columns) + i] * noise[(j * columns) + i];

                // Never below a quarter: a steep edge is no slope.
                noise[(j * columns) + i] = MathF.Sqrt(MathF.Max(0.25f * square, square - (((dx * dx) + (dy * dy)) / 12)));
            }
        }

        static float Rise(float[] level, int from, int to, bool twoCells) => (level[to] - level[from]) * (twoCells ? 0.5f : 1);
    }

    private static float[] Median3(float[] cells, int columns, int rows, bool continueStraight, RunContext context)
    {
        // Nine shifted copies of each row of cells, sorted element by element with an exchange network.
        float[] smooth = new float[cells.Length];
        int blocks = (rows + SmoothRows - 1) / SmoothRows;
        Sharing.For(blocks, context, () => Enumerable.Range(0, 10).Select(_ => new float[columns]).ToArray(), (block, nine) =>
        {
            for (int j = block * SmoothRows; j < Math.Min(rows, (block + 1) * SmoothRows); j++)
            {
                for (int k = 0; k < 9; k++)
                {
                    Shifted(cells, columns, rows, (k % 3) - 1, j + (k / 3) - 1, continueStraight, nine[k]);
                }

                foreach ((int low, int high) in MedianOfNine)
                {
                    // The tenth array is the spare one.
                    System.Numerics.Tensors.TensorPrimitives.Min(nine[low], nine[high], nine[9]);
                    System.Numerics.Tensors.TensorPrimitives.Max(nine[low], nine[high], nine[high]);
                    (nine[low], nine[9]) = (nine[9], nine[low]);
                }

                nine[4].CopyTo(smooth, j * columns);
            }
        });
        return smooth;
    }

    /// <summary>Row j of the cells, shifted by i columns, continued beyond the rim.</summary>
    private static void Shifted(float[] cells, int columns, int rows, int i, int j, bool straight, float[] row)
    {
        if (j < 0 || j >= rows)
        {
            for (int c = 0; c < columns; c++)
            {
                row[c] = Continued(cells, columns, rows, c + i, j, straight);
            }

            return;
        }

        int from = Math.Max(0, -i), to = Math.Min(columns, columns - i);
        if (to > from)
        {
            cells.AsSpan((j * columns) + from + i, to - from).CopyTo(row.AsSpan(from));
        }

        for (int c = 0; c < columns; c++)
        {
            if (c < from || c >= to)
            {
                row[c] = Continued(cells, columns, rows, c + i, j, straight);
            }
        }
    }

    /// <summary>Exchanges that bring the median of nine into the middle (Paeth's network of 20, Graphics Gems 1990, from memory;
    /// a test compares it with sorting).</summary>
    internal static readonly (int Low, int High)[] MedianOfNine =
    [
        (1, 2), (4, 5), (7, 8), (0, 1), (3, 4), (6, 7), (1, 2), (4, 5), (7, 8), (0, 3), (5, 8), (4, 7), (3, 6), (1, 4), (2, 5), (4, 7), (4, 2), (6, 4), (4, 2),
    ];

    /// <summary>A cell, or beyond the rim the straight continuation, so that a slope is not flattened there.</summary>
    private static float Continued(float[] cells, int columns, int rows, int i, int j, bool straight)
    {
        int ci = Math.Clamp(i, 0, columns - 1), cj = Math.Clamp(j, 0, rows - 1);
        float edge = cells[(cj * columns) + ci];
        if (!straight || (ci == i && cj == j))
        {
            return edge;
        }

        int mi = Math.Clamp((2 * ci) - i, 0, columns - 1), mj = Math.Clamp((2 * cj) - j, 0, rows - 1);
        return (2 * edge) - cells[(mj * columns) + mi];
    }
}

/// <summary>Level and noise of every cell before smoothing.</summary>
/// <param name="Width">Pixels along x.</param>
/// <param name="Height">Pixels along y.</param>
/// <param name="Columns">Cells along x.</param>
/// <param name="Rows">Cells along y.</param>
/// <param name="Level">ADU, row by row.</param>
/// <param name="Noise">Standard deviation of a pixel, ADU.</param>
/// <param name="SamplesPerCell">Pixels read in a cell.</param>
/// <param name="NoiseIsOfPixels">Whether the noise is that from pixel to pixel, so that no slope is left in it.</param>
internal sealed record SkyCells(int Width, int Height, int Columns, int Rows, float[] Level, float[] Noise, double SamplesPerCell,
    bool NoiseIsOfPixels = false)
{
    /// <summary>Level of each cell's darkest parts, ADU; null where cells have none.</summary>
    public float[]? Floor { get; init; }

    /// <summary>Index of the cell that holds a pixel.</summary>
    public int At(int x, int y) => ((int)((((y + 1L) * Rows) - 1) / Height) * Columns) + (int)((((x + 1L) * Columns) - 1) / Width);
}
