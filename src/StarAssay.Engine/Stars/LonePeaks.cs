using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Tells stars from the ridges and rims of a sky that has structure at their own scale: light falls off from a star to both sides of
/// every line through it or, beside a neighbor, to one side; along a ridge or a rim it falls to neither.
/// </summary>
internal sealed class LonePeaks
{
    // How far to both sides the light is compared, over a star's width: by then a star has lost nine tenths of its light.
    private const double ReachPerWidth = 1.25;
    private const double LeastReach = 3;
    private const double MostReach = 24;
    private const int Lines = 8;

    // A neighbor, or a thread that ends, takes up so many of the ends of these lines.
    private const int OneSide = 5;

    // The lower one of two sides is lower by chance by 0.56 of the noise; the lowest of eight lines by some more.
    private const int Smooth = 2;

    private readonly FrameReader reader;
    private readonly double[] offsetX = new double[Lines];
    private readonly double[] offsetY = new double[Lines];
    private readonly int half;
    private readonly float[] patch;
    private readonly float[] smoothed;
    private readonly float[] taps = new float[(2 * Smooth) + 1];

    private LonePeaks(Frame frame, double width, double filterSigma)
    {
        reader = new FrameReader(frame);
        double reach = Math.Clamp(ReachPerWidth * width, LeastReach, MostReach);
        half = (int)Math.Ceiling(reach) + 1;
        for (int k = 0; k < Lines; k++)
        {
            (double sin, double cos) = Math.SinCos(k * Math.PI / Lines);
            (offsetX[k], offsetY[k]) = (reach * cos, reach * sin);
        }

        int side = Side + (2 * Smooth);
        patch = new float[side * side];
        smoothed = new float[Side * Side];
        float sum = 0;
        for (int i = -Smooth; i <= Smooth; i++)
        {
            sum += taps[i + Smooth] = (float)Math.Exp(-0.5 * i * i / (filterSigma * filterSigma));
        }

        for (int i = 0; i < taps.Length; i++)
        {
            taps[i] /= sum;
        }
    }

    private int Side => (2 * half) + 1;

    /// <summary>Keeps the peaks that stand out to all sides; one that stands in a dark place is as high as it stands out there.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="mesh">Its sky; the noise counts.</param>
    /// <param name="peaks">Peaks, row by row.</param>
    /// <param name="width">Usual width of a star at half of its height, pixels.</param>
    /// <param name="limits">How the peaks were found.</param>
    /// <param name="context">Threads.</param>
    public static Seed[] Of(Frame frame, BackgroundMesh mesh, Seed[] peaks, double width, Limits limits, RunContext context)
    {
        float[] heights = Heights(frame, peaks, width, limits.FilterSigma, context), noises = new float[peaks.Length];
        Sharing.For(peaks.Length, context, k => noises[k] = (float)mesh.At(peaks[k].X, peaks[k].Y).Noise);
        double noise = limits.Height / limits.Threshold;
        Seed Raised(Seed seed, int k) => seed.Height >= heights[k] ? seed
            : seed with { Height = heights[k], Significance = (float)(heights[k] / (noise * noises[k])) };
        return [.. peaks.Select(Raised).Where((_, k) => heights[k] > limits.Height * noises[k])];
    }

    /// <summary>How far each peak stands above the lower side of that line through it which falls least, ADU.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="peaks">The peaks.</param>
    /// <param name="width">Usual width of a star at half of its height, pixels.</param>
    /// <param name="filterSigma">Of the smoothing, pixels.</param>
    /// <param name="context">Threads.</param>
    public static float[] Heights(Frame frame, Seed[] peaks, double width, double filterSigma, RunContext context)
    {
        float[] heights = new float[peaks.Length];
        Sharing.For(peaks.Length, context, () => new LonePeaks(frame, width, filterSigma), (k, own) => heights[k] = own.Height(peaks[k], frame));
        return heights;
    }

    /// <summary>How peaks were found.</summary>
    /// <param name="FilterSigma">Of the smoothing, pixels.</param>
    /// <param name="Threshold">Significance of a peak.</param>
    /// <param name="Height">How far they must stand out, in the noise of a pixel.</param>
    public readonly record struct Limits(double FilterSigma, double Threshold, double Height);

    /// <summary>How far a peak stands above the lower side of that line which falls least.</summary>
    private float Height(Seed seed, Frame frame)
    {
        Read(seed, frame);
        float peak = smoothed[(half * Side) + half], least = float.PositiveInfinity;
        for (int k = 0; k < Lines; k++)
        {
            float side = MathF.Min(At(half + offsetX[k], half + offsetY[k]), At(half - offsetX[k], half - offsetY[k]));
            least = MathF.Min(least, peak - side);
        }

        return least;
    }

    /// <summary>How much of what each peak stands above the usual light round it, it stands above all of that light but one bright side: near 1
    /// for a star alone, beside another, or at the end of a thread; little where threads bend, branch or cross.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="peaks">The peaks.</param>
    /// <param name="width">Usual width of a star at half of its height, pixels.</param>
    /// <param name="filterSigma">Of the smoothing, pixels.</param>
    /// <param name="context">Threads.</param>
    public static float[] Shares(Frame frame, Seed[] peaks, double width, double filterSigma, RunContext context)
    {
        float[] shares = new float[peaks.Length];
        Sharing.For(peaks.Length, context, () => new LonePeaks(frame, width, filterSigma), (k, own) => shares[k] = own.Share(peaks[k], frame));
        return shares;
    }

    private float Share(Seed seed, Frame frame)
    {
        Read(seed, frame);
        float peak = smoothed[(half * Side) + half], highest = float.PositiveInfinity;
        Span<float> around = stackalloc float[2 * Lines];
        for (int k = 0; k < Lines; k++)
        {
            (around[k], around[k + Lines]) = (At(half + offsetX[k], half + offsetY[k]), At(half - offsetX[k], half - offsetY[k]));
        }

        for (int first = 0; first < around.Length; first++)
        {
            float rest = float.NegativeInfinity;
            for (int k = OneSide; k < around.Length; k++)
            {
                rest = MathF.Max(rest, around[(first + k) % around.Length]);
            }

            highest = MathF.Min(highest, rest);
        }

        around.Sort();
        return (peak - highest) / (peak - (0.5f * (around[Lines - 1] + around[Lines])));
    }

    private float At(double x, double y)
    {
        int i = (int)x, j = (int)y, at = (j * Side) + i;
        float u = (float)(x - i), v = (float)(y - j);
        return ((1 - v) * (((1 - u) * smoothed[at]) + (u * smoothed[at + 1]))) + (v * (((1 - u) * smoothed[at + Side]) + (u * smoothed[at + Side + 1])));
    }

    /// <summary>The patch round a peak, smoothed as the peaks were; what lies outside the frame or is missing repeats what is nearest in its
    /// row, or the row before.</summary>
    private void Read(Seed seed, Frame frame)
    {
        int wide = Side + (2 * Smooth), x0 = seed.X - half - Smooth, from = Math.Max(0, -x0), to = Math.Min(wide, frame.Width - x0);
        for (int j = 0; j < wide; j++)
        {
            int y = Math.Clamp(seed.Y - half - Smooth + j, 0, frame.Height - 1);
            Span<float> line = patch.AsSpan(j * wide, wide);
            reader.Row(y, x0 + from, line[from..to]);
            float last = j > 0 ? patch[((j - 1) * wide) + from] : float.NaN;
            for (int i = from; i < to; i++)
            {
                last = line[i] = float.IsFinite(line[i]) ? line[i] : float.IsFinite(last) ? last : 0;
            }

            line[..from].Fill(line[from]);
            line[to..].Fill(last);
        }

        // Columns first, in place of the rows above which they stand.
        for (int j = 0; j < Side; j++)
        {
            for (int i = 0; i < wide; i++)
            {
                float sum = 0;
                for (int k = 0; k < taps.Length; k++)
                {
                    sum += taps[k] * patch[((j + k) * wide) + i];
                }

                patch[(j * wide) + i] = sum;
            }

            for (int i = 0; i < Side; i++)
            {
                float sum = 0;
                for (int k = 0; k < taps.Length; k++)
                {
                    sum += taps[k] * patch[(j * wide) + i + k];
                }

                smoothed[(j * Side) + i] = sum;
            }
        }
    }
}
