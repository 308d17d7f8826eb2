using System.Runtime.Intrinsics;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Pixels that stand above a threshold once the frame is smoothed by a separable 5 x 5 filter of Gaussian shape: a faint star
/// stands out best from the noise after smoothing with its own shape.
/// </summary>
/// <remarks>
/// The taps f, n, c, n, f sum to 1 in each direction, so a sky that is straight over five pixels passes unchanged and filtered
/// values can be compared with the unsmoothed sky level. Let V be the frame smoothed along its columns only. Then
/// S(x) = 2f [P(-2) + P(1)] + 2(n - f) [P(-1) + P(0)] + r V(x), P(k) the mean of V(x + k) and V(x + k + 1), and the rest
/// r = c - 2n + 2f is small and, like the other factors, never negative. So S stands above the threshold only where a P does,
/// or V by far. At 5 sigma that is one pixel of sky in some thousands; the row taps are worked out beside those alone, and
/// nothing is lost. Eight rows at once need twelve rows of input instead of forty. Beyond the ends of a row its last
/// pixel repeats.
/// </remarks>
internal sealed unsafe partial class MatchedFilter
{
    /// <summary>Rows smoothed at once.</summary>
    public const int Rows = 8;

    /// <summary>Pixels that the filter looks at on either side.</summary>
    public const int Reach = 2;

    /// <summary>Rows of input for them: two more on either side.</summary>
    public const int Inputs = Rows + (2 * Reach);

    // Bits of the screen fill a word for so many rows.
    private const int HalfRows = 4;
    private readonly float center;
    private readonly float near;
    private readonly float far;

    /// <summary>Makes the filter.</summary>
    /// <param name="sigma">Standard deviation of the Gaussian in pixels.</param>
    public MatchedFilter(double sigma)
    {
        double a = Math.Exp(-0.5 / (sigma * sigma)), b = Math.Exp(-2 / (sigma * sigma));
        double sum = 1 + (2 * (a + b));
        center = (float)(1 / sum);
        near = (float)(a / sum);
        far = (float)(b / sum);
        NoiseGain = (1 + (2 * ((a * a) + (b * b)))) / (sum * sum);

        double rest = (1 - (2 * a) + (2 * b)) / sum;
        AbovePerBelow = (float)((1 - rest) / rest);
    }

    /// <summary>How far V may stand above the threshold when every P stays below it by 1: (1 - r)/r.</summary>
    public float AbovePerBelow { get; }

    /// <summary>Noise of a filtered pixel over the noise of a pixel, when pixels are independent: the root of the sum of
    /// squares of all 25 taps.</summary>
    public double NoiseGain { get; }

    /// <summary>Lists the pixels of eight smoothed rows above the threshold.</summary>
    /// <typeparam name="TPixels">How the rows hold their pixels.</typeparam>
    /// <param name="inputs">Twelve input rows.</param>
    /// <param name="width">Pixels in a row.</param>
    /// <param name="limits">What to hold them against.</param>
    /// <param name="hits">Eight lists that are filled anew.</param>
    /// <param name="screen">Work space.</param>
    /// <param name="pitch">Bytes from one input row to the next, when they lie in a frame and the next call goes on below: pixels are then
    /// asked for ahead of time. 0: they are near.</param>
    /// <returns>False when an input row holds NaN or infinity; the lists are empty then.</returns>
    public bool Find<TPixels>(byte** inputs, int width, Limits limits, ReadOnlySpan<RowHits> hits, Screen screen, nint pitch = 0)
        where TPixels : struct, IStoredPixels
    {
        foreach (RowHits row in hits)
        {
            row.Clear();
        }

        bool whole = !Vector128.IsHardwareAccelerated || width < Lanes512.Count ? FindScalar<TPixels>(inputs, width, limits.Threshold, hits)
            : Vector512.IsHardwareAccelerated ? FindLanes<Lanes512, TPixels>(inputs, width, limits, hits, screen, pitch)
            : Vector256.IsHardwareAccelerated ? FindLanes<Lanes256, TPixels>(inputs, width, limits, hits, screen, pitch)
            : FindLanes<Lanes128, TPixels>(inputs, width, limits, hits, screen, pitch);
        if (!whole)
        {
            foreach (RowHits row in hits)
            {
                row.Wipe();
            }
        }

        return whole;
    }

    /// <summary>The taps applied to five values.</summary>
    private float Apply(float a, float b, float c, float d, float e) =>
        float.MultiplyAddEstimate(center, c, float.MultiplyAddEstimate(near, b + d, far * (a + e)));

    /// <summary>A smoothed pixel.</summary>
    private float Smoothed<TPixels>(byte** rows, int width, int x)
        where TPixels : struct, IStoredPixels
    {
        return Apply(Down<TPixels>(rows, Math.Max(0, x - 2)), Down<TPixels>(rows, Math.Max(0, x - 1)), Down<TPixels>(rows, x),
            Down<TPixels>(rows, Math.Min(width - 1, x + 1)), Down<TPixels>(rows, Math.Min(width - 1, x + 2)));
    }

    /// <summary>The taps down one column.</summary>
    private float Down<TPixels>(byte** rows, int x)
        where TPixels : struct, IStoredPixels =>
        Apply(TPixels.Load(ref *rows[0], x), TPixels.Load(ref *rows[1], x), TPixels.Load(ref *rows[2], x), TPixels.Load(ref *rows[3], x),
            TPixels.Load(ref *rows[4], x));

    /// <summary>What smoothed pixels are held against.</summary>
    /// <param name="threshold">Threshold of each column.</param>
    /// <param name="below">How far below it the screen's threshold for pairs of columns lies; any number from 0 on loses nothing but
    /// what the sums' rounding may, and a fiftieth of the threshold's height above the sky passes least.</param>
    internal readonly struct Limits(float* threshold, float below)
    {
        public readonly float* Threshold = threshold;
        public readonly float Below = below;
    }

    /// <summary>Work space of a search: where pixels passed the screen.</summary>
    internal sealed class Screen(int width)
    {
        /// <summary>First column of a register in which one or more did.</summary>
        public readonly int[] Columns = GC.AllocateUninitializedArray<int>((width / Lanes128.Count) + 2);

        /// <summary>Which: the bits of the first row, then those of the second, third and fourth; in another word those of the
        /// next four.</summary>
        public readonly ulong[] Bits = GC.AllocateUninitializedArray<ulong>(2 * ((width / Lanes128.Count) + 2));
    }
}
