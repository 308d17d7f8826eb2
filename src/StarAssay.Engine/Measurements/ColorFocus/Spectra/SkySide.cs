using System.Numerics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Sky on one side of one column.</summary>
/// <param name="Mean">Of what lies within 3.5 robust deviations of the median, ADU.</param>
/// <param name="Sigma">Standard deviation of that.</param>
/// <param name="Count">How many pixels; 0 where there are too few to tell.</param>
/// <param name="Middle">Mean row of all, from the column's base row.</param>
internal readonly record struct SkyLevel(double Mean, double Sigma, int Count, double Middle);

/// <summary>Sky on one side of the spectrum, of all columns of a bin.</summary>
internal sealed class SkySide
{
    private const int Fewest = 4; // pixels
    private readonly SpectrumImage image;
    private readonly TraceFinder trace;
    private readonly int side;
    private readonly double[] list;
    private float[] values = [];
    private double[] distance = [];

    /// <summary>Looks at up to <paramref name="side"/> rows.</summary>
    public SkySide(SpectrumImage image, TraceFinder trace, int side)
    {
        this.image = image;
        this.trace = trace;
        this.side = side;
        list = new double[side];
    }

    /// <summary>Of each column.</summary>
    public SkyLevel[] Level { get; private set; } = [];

    /// <summary>Takes the sky of some columns from the rows beyond one.</summary>
    /// <param name="x0">First column.</param>
    /// <param name="columns">How many.</param>
    /// <param name="baseRow">Row that rows are counted from.</param>
    /// <param name="firstRow">Nearest row.</param>
    /// <param name="step">1 upward, -1 downward.</param>
    public void Take(int x0, int columns, int baseRow, int firstRow, int step)
    {
        Level = Level.Length == columns ? Level : new SkyLevel[columns];
        int[] rows = [.. Enumerable.Range(0, side).Select(i => baseRow + firstRow + (i * step)).Where(y => y >= 0 && y < image.Height && Clear(y - baseRow))];
        if (rows.Length < Fewest || !TakeTogether(x0, columns, baseRow, rows))
        {
            for (int c = 0; c < columns; c++)
            {
                Level[c] = One(x0 + c, baseRow, rows);
            }
        }
    }

    /// <summary>Whether a row lies clear of a second spectrum.</summary>
    private bool Clear(int offset) => double.IsNaN(trace.SecondOffset) || Math.Abs(offset - trace.SecondOffset) > 1.5 * trace.SecondHalf;

    /// <summary>All columns side by side; false where a pixel does not count.</summary>
    private bool TakeTogether(int x0, int columns, int baseRow, int[] rows)
    {
        int lanes = Vector<float>.Count, stride = (columns + lanes - 1) / lanes * lanes, n = rows.Length;
        values = values.Length >= n * stride ? values : new float[n * stride];
        distance = distance.Length >= n * stride ? distance : new double[n * stride];
        double middle = 0;
        float sum = 0; // NaN as soon as one is, or is infinite
        for (int i = 0; i < n; i++)
        {
            middle += rows[i] - baseRow;
            ReadOnlySpan<float> from = image.Pixels.AsSpan((rows[i] * image.Width) + x0, columns);
            from.CopyTo(values.AsSpan(i * stride));
            values.AsSpan((i * stride) + columns, stride - columns).Fill(from[0]);
            foreach (float v in from)
            {
                sum += v * 0;
            }
        }

        if (sum != 0)
        {
            return false;
        }

        Span<double> median = stackalloc double[stride], scatter = stackalloc double[stride];
        LaneMedian.Find<float>(values.AsSpan(0, n * stride), n, stride, median);
        for (int i = 0; i < n; i++)
        {
            for (int c = 0; c < stride; c++)
            {
                distance[(i * stride) + c] = Math.Abs(values[(i * stride) + c] - median[c]);
            }
        }

        LaneMedian.Find<double>(distance.AsSpan(0, n * stride), n, stride, scatter);
        for (int c = 0; c < columns; c++)
        {
            double limit = Math.Max(3.5 * 1.4826 * scatter[c], 1e-9), off = 0, squares = 0;
            int count = 0;
            for (int i = 0; i < n; i++)
            {
                double d = values[(i * stride) + c] - median[c];
                if (Math.Abs(d) <= limit)
                {
                    off += d;
                    squares += d * d;
                    count++;
                }
            }

            Level[c] = Mean(median[c], 1.4826 * scatter[c], off, squares, count, middle / n);
        }

        return true;
    }

    private SkyLevel One(int x, int baseRow, int[] rows)
    {
        int n = 0;
        double middle = 0;
        foreach (int y in rows)
        {
            float v = image.Pixels[(y * image.Width) + x];
            if (float.IsFinite(v))
            {
                list[n++] = v;
                middle += y - baseRow;
            }
        }

        if (n < Fewest)
        {
            return default;
        }

        (double median, double scatter) = Robust.MedianAndSigma(list.AsSpan(0, n));
        double limit = Math.Max(3.5 * scatter, 1e-9), sum = 0, squares = 0;
        int count = 0;
        foreach (double v in list.AsSpan(0, n))
        {
            if (Math.Abs(v - median) <= limit)
            {
                sum += v - median;
                squares += (v - median) * (v - median);
                count++;
            }
        }

        return Mean(median, scatter, sum, squares, count, middle / n);
    }

    private static SkyLevel Mean(double median, double scatter, double sum, double squares, int count, double middle)
    {
        double mean = sum / count;
        double sigma = count > 1 ? Math.Sqrt(Math.Max(0, (squares - (count * mean * mean)) / (count - 1))) : scatter;
        return new SkyLevel(median + mean, sigma, count, middle);
    }
}
