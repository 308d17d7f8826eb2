using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.RelativeIllumination;

/// <summary>Flats as a coarse grid of levels: means without the stars and hot pixels.</summary>
internal sealed class FlatCells
{
    private const int Across = 64;

    // Clipped pixels beyond this share are no stars in a twilight sky.
    private const double MostClipped = 0.002;

    private const double LeastShare = 0.5, LeastOfCell = 0.6, MostLeftOut = 0.4;

    // Beyond so many standard deviations a value is no part of the light's own (our own choice).
    private const double FarOut = 4;

    private FlatCells(int side, int columns, int rows)
    {
        (Side, Columns, Rows) = (side, columns, rows);
        Level = new double[rows, columns];
        Relative = new double[rows, columns];
    }

    /// <summary>Side of a cell, pixels; even, so that every cell of a color mosaic holds its colors alike.</summary>
    public int Side { get; }

    /// <summary>Cells along x.</summary>
    public int Columns { get; }

    /// <summary>Cells along y.</summary>
    public int Rows { get; }

    /// <summary>Light of each cell, ADU above the level without light; geometric mean of the flats, each scaled to its median. NaN = unknown.</summary>
    public double[,] Level { get; }

    /// <summary>Relative standard uncertainty of each by its pixels' scatter.</summary>
    public double[,] Relative { get; }

    /// <summary>Reads the flats.</summary>
    /// <exception cref="CannotMeasureException">A flat is clipped or holds no light.</exception>
    public static FlatCells Of(IReadOnlyList<Frame> frames, double bias, RunContext context)
    {
        int side = Math.Max(8, 2 * (int)Math.Round(frames[0].Width / (2.0 * Across)));
        var cells = new FlatCells(side, frames[0].Width / side, frames[0].Height / side);
        double[,] sum = new double[cells.Rows, cells.Columns], spread = new double[cells.Rows, cells.Columns];
        double usual = 0;
        foreach (Frame frame in frames)
        {
            (double[,] level, double[,] bar) = cells.Read(frame, bias, context);
            double middle = Robust.Median(level.Cast<double>().Where(double.IsFinite));
            usual += middle / frames.Count;
            for (int j = 0; j < cells.Rows; j++)
            {
                for (int i = 0; i < cells.Columns; i++)
                {
                    sum[j, i] += Math.Log(level[j, i] / middle) / frames.Count;
                    spread[j, i] += bar[j, i] * bar[j, i] / ((double)frames.Count * frames.Count);
                }
            }
        }

        for (int j = 0; j < cells.Rows; j++)
        {
            for (int i = 0; i < cells.Columns; i++)
            {
                cells.Level[j, i] = usual * Math.Exp(sum[j, i]);
                cells.Relative[j, i] = Math.Sqrt(spread[j, i]);
            }
        }

        return cells;
    }

    /// <summary>The same without the cells that a shadow of dust reaches, as long as most of them are left. Shadows smaller than a cell stay.</summary>
    /// <param name="shadows">Shadows, clearest first.</param>
    /// <returns>Itself where none is that wide.</returns>
    public FlatCells Without(IEnumerable<DustShape> shadows)
    {
        FlatCells left = this;
        foreach (DustShape shadow in shadows.Where(s => s.Radius > LeastShadow))
        {
            var next = new FlatCells(Side, Columns, Rows);
            int unknown = 0;
            for (int j = 0; j < Rows; j++)
            {
                for (int i = 0; i < Columns; i++)
                {
                    double x = Middle(i) - shadow.X, y = Middle(j) - shadow.Y;
                    bool met = Math.Sqrt((x * x) + (y * y)) < shadow.Radius + shadow.Grain + (0.5 * Side);
                    (next.Level[j, i], next.Relative[j, i]) = met ? (double.NaN, double.NaN) : (left.Level[j, i], left.Relative[j, i]);
                    unknown += double.IsFinite(next.Level[j, i]) ? 0 : 1;
                }
            }

            left = unknown < MostLeftOut * Rows * Columns ? next : left;
        }

        return left;
    }

    /// <summary>Radius of the smallest shadow that can move a cell's median, pixels.</summary>
    public double LeastShadow => 0.5 * LeastOfCell * Side;

    /// <summary>How many cells are known.</summary>
    public int Known => Level.Cast<double>().Count(double.IsFinite);

    /// <summary>Place of a cell's middle, pixels.</summary>
    public double Middle(int cell) => (cell * Side) + ((Side - 1) / 2.0);

    private (double[,] Level, double[,] Bar) Read(Frame frame, double bias, RunContext context)
    {
        double[,] level = new double[Rows, Columns], bar = new double[Rows, Columns];
        var reader = new FrameReader(frame);
        long[] clipped = new long[Rows];
        double limit = double.IsFinite(frame.SaturationAdu) ? frame.SaturationAdu : double.PositiveInfinity;
        double[] highest = new double[Rows];
        Parallel.For(0, Rows, context.Parallel, j =>
        {
            double[] blocks = new double[Side * Side / 4], scratch = new double[blocks.Length];
            for (int i = 0; i < Columns; i++)
            {
                double[] pixels = reader.Region(i * Side, j * Side, Side, Side);
                int count = 0;
                foreach (double v in pixels)
                {
                    clipped[j] += v >= limit ? 1 : 0;
                    highest[j] = v > highest[j] ? v : highest[j];
                }

                // Means of 2 x 2 pixels: all colors of a mosaic.
                for (int y = 0; y < Side; y += 2)
                {
                    for (int x = 0; x < Side; x += 2)
                    {
                        int at = (y * Side) + x;
                        double mean = (pixels[at] + pixels[at + 1] + pixels[at + Side] + pixels[at + Side + 1]) / 4;
                        blocks[(y / 2 * (Side / 2)) + (x / 2)] = mean;
                        count += double.IsFinite(mean) ? 1 : 0;
                    }
                }

                bool enough = count >= LeastShare * blocks.Length;
                (double inside, double sigma) = enough ? Inside(WithoutSlope(blocks, scratch)) : (double.NaN, double.NaN);
                double light = inside - bias;
                (level[j, i], bar[j, i]) = light > 0 ? (light, Math.Max(sigma, 0.3) / Math.Sqrt(count) / light) : (double.NaN, double.NaN);
            }
        });
        Refuse(frame, level, clipped.Sum(), highest.Max(), limit);
        return (level, bar);
    }

    /// <summary>A cell's finite values without its slope, in the scratch.</summary>
    /// <remarks>Where light falls off steeply, half of a cell's values lie on one side of the level at its middle however the slope bends, so that the
    /// median of all is no mean over the cell; without the slope it is one.</remarks>
    private static Span<double> WithoutSlope(double[] blocks, double[] scratch)
    {
        int n = (int)Math.Round(Math.Sqrt(blocks.Length));
        double Half(Func<int, int, bool> inside)
        {
            int count = 0;
            for (int y = 0; y < n; y++)
            {
                for (int x = 0; x < n; x++)
                {
                    if (inside(x, y) && double.IsFinite(blocks[(y * n) + x]))
                    {
                        scratch[count++] = blocks[(y * n) + x];
                    }
                }
            }

            return Robust.MedianInPlace(scratch.AsSpan(0, count));
        }

        // Middles of two halves lie half a cell apart.
        int middle = n / 2, after = n - middle;
        double slopeX = (Half((x, _) => x >= after) - Half((x, _) => x < middle)) / after;
        double slopeY = (Half((_, y) => y >= after) - Half((_, y) => y < middle)) / after;
        double tiltX = double.IsFinite(slopeX) ? slopeX : 0, tiltY = double.IsFinite(slopeY) ? slopeY : 0;
        int kept = 0;
        for (int y = 0; y < n; y++)
        {
            for (int x = 0; x < n; x++)
            {
                double value = blocks[(y * n) + x];
                if (double.IsFinite(value))
                {
                    scratch[kept++] = value - (tiltX * (x - ((n - 1) / 2.0))) - (tiltY * (y - ((n - 1) / 2.0)));
                }
            }
        }

        return scratch.AsSpan(0, kept);
    }

    /// <summary>Mean and scatter of what lies near the median: beside stars and hot pixels, but with all of what a bend of the light does.</summary>
    private static (double Mean, double Sigma) Inside(Span<double> values)
    {
        (double median, double sigma) = Robust.MedianAndSigma(values);
        double sum = 0;
        int count = 0;
        foreach (double v in values)
        {
            if (Math.Abs(v - median) <= FarOut * Math.Max(sigma, 0.3))
            {
                sum += v - median;
                count++;
            }
        }

        return (median + (sum / Math.Max(count, 1)), sigma);
    }

    private void Refuse(Frame frame, double[,] level, long clipped, double highest, double limit)
    {
        double all = (double)Rows * Columns * Side * Side;
        if (clipped > MostClipped * all)
        {
            throw new CannotMeasureException("relative-illumination.clipped",
                $"{100 * clipped / all:0.0} % of the pixels of {frame.Name} are clipped at {limit:0} ADU. Take the flat again with a third of the exposure.",
                    frame.Name);
        }

        double[] known = [.. level.Cast<double>().Where(double.IsFinite)];
        if (known.Length < LeastShare * level.Length)
        {
            throw new CannotMeasureException("relative-illumination.no-light",
                $"{frame.Name} holds light in {100.0 * known.Length / level.Length:0} % of its parts only. Check the exposure and the level without light.",
                    frame.Name);
        }

        // Cells that all stand at the highest value: clipped at a level nobody told.
        double top = known.Max();
        int flat = known.Count(v => v >= 0.9999 * top);
        if (double.IsInfinity(limit) && flat > 0.05 * known.Length && top >= 0.999 * (highest - 1))
        {
            throw new CannotMeasureException("relative-illumination.clipped",
                $"{100.0 * flat / known.Length:0} % of {frame.Name} stand at its highest level: clipped. Take the flat again with a third of the exposure.",
                    frame.Name);
        }
    }
}
