using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging;

/// <summary>
/// Measures sky level and noise cell by cell.
/// </summary>
/// <remarks>
/// In each cell: rounds of clipping at +-2.5 standard deviations for the noise, and two of a mean under Tukey's biweight for
/// the level. They start from the cell to the left when they stay near it and come to rest, else from median and 16 %
/// quantile, found by counting (no sorting). A soft weight is needed since frames of whole
/// ADU rule out a median (rounded) and a hard cut (lopsided by up to 0.05 ADU); the level then errs by less than 0.01.
/// The slope of the sky inside a cell is taken out of its noise. Cells that stick
/// out of their surroundings (bright stars, mostly masked) are replaced by a 3 x 3 median.
/// </remarks>
public static partial class BackgroundEstimator
{
    private const float ClipAt = 2.5f;

    // Rows of cells smoothed in one go.
    private const int SmoothRows = 16;

    private const int ClipRounds = 3;
    private const int SoftRounds = 2;

    // Where Tukey's weight reaches zero, in standard deviations.
    internal const float SoftReach = 4;

    // Variance of a unit Gaussian cut at +-2.5: 1 - 2 k phi(k) / (2 Phi(k) - 1).
    private const float ClippedVariance = 0.911249f;

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
        float[] level = new float[columns * rows];
        float[] noise = new float[columns * rows];
        var reader = new CellReader(frame, (frame.Width / columns) + 1);
        Sharing.For(rows, context, () => new float[reader.Room((frame.Height / rows) + 1, step)], (j, samples) => CellRow(reader, samples, j, columns, rows, step, level, noise));
        FillMissing(level, noise, columns, rows, frame.Name);
        double samples = (double)frame.Width * frame.Height / ((double)columns * rows * step);
        return new SkyCells(frame.Width, frame.Height, columns, rows, level, noise, samples);
    }

    /// <summary>Makes the mesh: outliers replaced by a 3 x 3 median, the sky's slope taken out of the noise.</summary>
    internal static BackgroundMesh Smooth(SkyCells cells, RunContext context)
    {
        float[] smoothLevel = Median3(cells.Level, cells.Columns, cells.Rows, continueStraight: true, context);
        float[] noise = (float[])cells.Noise.Clone();
        TakeOutSlope(noise, smoothLevel, cells.Columns, cells.Rows);
        float[] smoothNoise = Median3(noise, cells.Columns, cells.Rows, continueStraight: false, context);
        return new BackgroundMesh(cells.Width, cells.Height, cells.Columns, cells.Rows, smoothLevel, smoothNoise, cells.SamplesPerCell);
    }

    /// <summary>Every how many rows are read: all of small frames, every fourth of large ones.</summary>
    private static int RowStep(long pixels) => pixels > 6_000_000 ? 4 : pixels > 1_500_000 ? 2 : 1;

    /// <summary>Level and noise of a set of pixels without NaN.</summary>
    /// <param name="samples">Pixel values.</param>
    /// <param name="guess">A level to start from (NaN: none).</param>
    /// <param name="guessNoise">The noise that goes with it.</param>
    internal static (float Level, float Noise) Robust(ReadOnlySpan<float> samples, float guess, float guessNoise) =>
        Vector128.IsHardwareAccelerated ? RobustVectors(samples, guess, guessNoise) : RobustScalar(samples, guess, guessNoise);

    private static unsafe void CellRow(CellReader reader, float[] samples, int j, int columns, int rows, int step, float[] level, float[] noise)
    {
        Frame frame = reader.Frame;
        int y0 = (int)((long)j * frame.Height / rows), y1 = (int)((long)(j + 1) * frame.Height / rows);
        float guess = float.NaN, guessNoise = float.NaN;
        using System.Buffers.MemoryHandle pin = frame.Pixels.Bytes.Pin();
        for (int i = 0; i < columns; i++)
        {
            int x0 = (int)((long)i * frame.Width / columns), x1 = (int)((long)(i + 1) * frame.Width / columns);
            int count = reader.Read((byte*)pin.Pointer, x0, x1, y0 + (step / 2), y1, step, samples, out bool missing), asked = count;
            if (missing)
            {
                count = DropMissing(samples.AsSpan(0, count));
            }

            int at = (j * columns) + i;
            if (count < 16 || count * 4 < asked)
            {
                level[at] = float.NaN;
                noise[at] = float.NaN;
                continue;
            }

            (level[at], noise[at]) = Robust(samples.AsSpan(0, count), guess, guessNoise);
            guess = level[at];
            guessNoise = noise[at];
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

    private static void FillMissing(float[] level, float[] noise, int columns, int rows, string name)
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
                float dx = columns < 2 ? 0 : Rise(level, (j * columns) + Math.Max(0, i - 1), (j * columns) + Math.Min(columns - 1, i + 1), i > 0 && i < columns - 1);
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

    /// <summary>Where the rounds of clipping stand.</summary>
    /// <param name="Center">Clipped mean.</param>
    /// <param name="Noise">Standard deviation behind the clipped one.</param>
    /// <param name="Inside">Share of the samples within the clip.</param>
    /// <param name="Moved">Last step of the center.</param>
    private readonly record struct Clipped(float Center, float Noise, float Inside, float Moved)
    {
        // A cell of which a quarter is no sky deserves the long way; a clean one has 0.988 inside.
        private const float FewestInside = 0.75f;

        /// <summary>Whether there is something to start from.</summary>
        public bool CanStart => float.IsFinite(Center) && Noise > 0;

        /// <summary>The next round, from count, sum and sum of squares of the deviations within the clip.</summary>
        public Clipped After(float n, float sum, float squares, int all)
        {
            float mean = sum / n, variance = (squares / n) - (mean * mean);
            return new Clipped(Center + mean, MathF.Sqrt(MathF.Max(variance, 0) / ClippedVariance), n / all, mean);
        }

        /// <summary>Whether it is still the same sky.</summary>
        public bool IsNear(Clipped start) =>
            Inside > FewestInside && MathF.Abs(Center - start.Center) < start.Noise && Noise > 0.6f * start.Noise && Noise < 1.6f * start.Noise;

        /// <summary>Whether another round would hardly change it: a tenth of what the mean of a thousand samples scatters by.</summary>
        public bool Rests(Clipped before) => MathF.Abs(Moved) < 0.01f * Noise && MathF.Abs(Noise - before.Noise) < 0.01f * Noise;
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
internal sealed record SkyCells(int Width, int Height, int Columns, int Rows, float[] Level, float[] Noise, double SamplesPerCell);
