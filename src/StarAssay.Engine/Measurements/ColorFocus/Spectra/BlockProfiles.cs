using System.Numerics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What stands out of one block's profile.</summary>
/// <param name="Column">Middle of the block.</param>
/// <param name="Row">Middle of the rows that stand out.</param>
/// <param name="Snr">Signal to noise.</param>
/// <param name="Flux">Light above the background.</param>
/// <param name="Box">How many rows.</param>
/// <param name="Block">Which block.</param>
internal readonly record struct TracePeak(double Column, double Row, double Snr, double Flux, int Box, int Block);

/// <summary>Profiles across the dispersion of blocks of columns: medians, so that a cosmic ray does not count.</summary>
internal sealed class BlockProfiles
{
    private readonly double[][] profiles;
    private readonly double[] noise;
    private readonly int first;
    private readonly int width;

    public BlockProfiles(SpectrumImage image, int first, int end, int count)
    {
        this.first = first;
        width = end - first;
        profiles = new double[count][];
        noise = new double[count];
        for (int b = 0; b < count; b++)
        {
            profiles[b] = Profile(image, first + (b * width / count), first + ((b + 1) * width / count), out noise[b]);
        }
    }

    /// <summary>Number of blocks.</summary>
    public int Count => profiles.Length;

    /// <summary>Middle of a block.</summary>
    public double Column(int block) => first + ((block + 0.5) * width / Count);

    /// <summary>The stretch of rows of one block that stands out most, of seven widths.</summary>
    /// <param name="block">Which block.</param>
    /// <param name="allowed">Rows that count; all when left out.</param>
    public TracePeak Best(int block, Func<int, bool>? allowed = null)
    {
        double[] profile = profiles[block];
        double sigma = noise[block];
        int h = profile.Length;
        var sum = new double[h + 1];
        for (int y = 0; y < h; y++)
        {
            sum[y + 1] = sum[y] + (allowed is null || allowed(y) ? profile[y] : 0);
        }

        var best = new TracePeak(Column(block), -1, 0, 0, 0, block);
        foreach (int box in new[] { 3, 5, 9, 15, 25, 41, 61 })
        {
            if (box > h / 2)
            {
                break;
            }

            double noise = sigma * Math.Sqrt(box), most = best.Snr * noise;
            int at = -1;
            for (int y = 0; y + box <= h; y++)
            {
                double flux = sum[y + box] - sum[y];
                if (flux > most)
                {
                    (most, at) = (flux, y);
                }
            }

            if (at >= 0)
            {
                best = best with { Row = at + (box / 2), Snr = most / noise, Flux = most, Box = box };
            }
        }

        return best;
    }

    /// <summary>Center, half of the range that holds 68 % of the light, and signal to noise of one block between two rows.</summary>
    public (double Center, double HalfWidth, double Snr) Moments(int block, int lo, int hi)
    {
        double[] profile = profiles[block];
        // Background of this stretch: the mean of what lies at its two ends.
        int edge = Math.Max(1, (hi - lo) / 8);
        double a = 0, b = 0;
        for (int i = 0; i < edge; i++)
        {
            a += profile[lo + i] / edge;
            b += profile[hi - i] / edge;
        }

        int n = hi - lo + 1;
        var sum = new double[n + 1];
        for (int i = 0; i < n; i++)
        {
            sum[i + 1] = sum[i] + profile[lo + i] - (a + ((b - a) * i / (n - 1)));
        }

        double flux = sum[n];
        double snr = flux / (noise[block] * Math.Sqrt(n));
        if (!(flux > 0))
        {
            return (double.NaN, double.NaN, 0);
        }

        double left = Crossing(sum, 0.1587 * flux), right = Crossing(sum, 0.8413 * flux), middle = Crossing(sum, 0.5 * flux);
        return (lo - 0.5 + ((left + right + middle) / 3), 0.5 * (right - left), snr);
    }

    private static double Crossing(double[] sum, double level)
    {
        for (int i = 1; i < sum.Length; i++)
        {
            if (sum[i] >= level)
            {
                double step = sum[i] - sum[i - 1];
                return i - 1 + (step > 0 ? (level - sum[i - 1]) / step : 0.5);
            }
        }

        return sum.Length - 1;
    }

    private static double[] Profile(SpectrumImage image, int x0, int x1, out double sigma)
    {
        int h = image.Height;
        double[] profile = Medians(image, x0, x1);

        // Background: a line through the lower half of the values, whatever its slope along the slit.
        double[] finite = [.. profile.Where(double.IsFinite)];
        double level = Robust.Median(finite);
        double[] differences = new double[Math.Max(finite.Length - 1, 1)];
        for (int i = 0; i + 1 < finite.Length; i++)
        {
            differences[i] = finite[i + 1] - finite[i];
        }

        sigma = Math.Max(1.4826 * Robust.Median(differences.Select(Math.Abs)) / Math.Sqrt(2), 1e-6);
        double low = Robust.Median(finite.Where(v => v <= level));
        double floor = finite.Length > 0 ? (level - low > 3 * sigma ? low : level) : 0;
        for (int y = 0; y < h; y++)
        {
            profile[y] = double.IsFinite(profile[y]) ? profile[y] - floor : 0;
        }

        return profile;
    }

    /// <summary>Median of every row of a block; NaN where no pixel counts.</summary>
    private static double[] Medians(SpectrumImage image, int x0, int x1)
    {
        int most = Math.Min(x1 - x0, 512), step = Math.Max(1, (x1 - x0) / most), n = 0, h = image.Height, lanes = Vector<float>.Count;
        for (int x = x0; x < x1 && n < most; x += step)
        {
            n++;
        }

        var profile = new double[h];
        float[] values = new float[n * lanes];
        Span<double> median = stackalloc double[lanes];
        Span<double> row = stackalloc double[n];
        for (int y = 0; y < h; y += lanes)
        {
            int rows = Math.Min(lanes, h - y);
            bool finite = rows == lanes;
            for (int r = 0; r < rows && finite; r++)
            {
                ReadOnlySpan<float> from = image.Pixels.AsSpan(((y + r) * image.Width) + x0, x1 - x0);
                float sum = 0; // NaN or infinite as soon as one is
                for (int i = 0; i < n; i++)
                {
                    float v = from[i * step];
                    values[(i * lanes) + r] = v;
                    sum += v * 0;
                }

                finite = sum == 0;
            }

            if (finite)
            {
                LaneMedian.Find<float>(values, n, lanes, median);
                median.CopyTo(profile.AsSpan(y));
                continue;
            }

            for (int r = y; r < y + rows; r++)
            {
                int good = 0;
                for (int i = 0; i < n; i++)
                {
                    float v = image.Pixels[(r * image.Width) + x0 + (i * step)];
                    if (float.IsFinite(v))
                    {
                        row[good++] = v;
                    }
                }

                profile[r] = good > 0 ? Robust.MedianInPlace(row[..good]) : double.NaN;
            }
        }

        return profile;
    }
}
