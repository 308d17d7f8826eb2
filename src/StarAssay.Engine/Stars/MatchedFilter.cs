using System.Runtime.Intrinsics;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Pixels that stand above a threshold once the frame is smoothed by a separable 5 x 5 filter of Gaussian shape: a faint star
/// stands out best from the noise after smoothing with its own shape.
/// </summary>
/// <remarks>
/// The taps sum to 1 in each direction, so a sky that is straight over five pixels passes unchanged and filtered values can be
/// compared with the unsmoothed sky level. They are positive, so a smoothed pixel is a weighted mean of five pixels that were
/// smoothed along their columns only, and can pass the threshold only where one of these does. At 5 sigma one pixel of sky in
/// 270 passes after the column taps; the row taps are worked out beside those alone. Nothing is lost by it. Four rows at once
/// need eight rows of input instead of twenty. Beyond the ends of a row its last pixel repeats.
/// </remarks>
internal sealed unsafe partial class MatchedFilter
{
    /// <summary>Rows smoothed at once.</summary>
    public const int Rows = 4;

    /// <summary>Pixels that the filter looks at on either side.</summary>
    public const int Reach = 2;

    /// <summary>Rows of input for them: two more on either side.</summary>
    public const int Inputs = Rows + (2 * Reach);

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
    }

    /// <summary>Noise of a filtered pixel over the noise of a pixel, when pixels are independent: the root of the sum of
    /// squares of all 25 taps.</summary>
    public double NoiseGain { get; }

    /// <summary>Lists the pixels of four smoothed rows above the threshold.</summary>
    /// <typeparam name="TPixels">How the rows hold their pixels.</typeparam>
    /// <param name="inputs">Eight input rows.</param>
    /// <param name="width">Pixels in a row.</param>
    /// <param name="threshold">Threshold of each column.</param>
    /// <param name="hits">Four lists that are filled anew.</param>
    /// <param name="screen">Work space.</param>
    /// <param name="ahead">Bytes from a row to the one that takes its place in the next call, to be brought near; 0: not known.</param>
    /// <returns>False when an input row holds NaN or infinity; the lists are of no use then.</returns>
    public bool Find<TPixels>(byte** inputs, int width, float* threshold, ReadOnlySpan<RowHits> hits, Screen screen, nint ahead = 0)
        where TPixels : struct, IStoredPixels
    {
        foreach (RowHits row in hits)
        {
            row.Clear();
        }

        return !Vector128.IsHardwareAccelerated || width < Lanes512.Count ? FindScalar<TPixels>(inputs, width, threshold, hits)
            : Vector512.IsHardwareAccelerated ? FindLanes<Lanes512, TPixels>(inputs, width, threshold, hits, screen, ahead)
            : Vector256.IsHardwareAccelerated ? FindLanes<Lanes256, TPixels>(inputs, width, threshold, hits, screen, ahead)
            : FindLanes<Lanes128, TPixels>(inputs, width, threshold, hits, screen, ahead);
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
        Apply(TPixels.Load(ref *rows[0], x), TPixels.Load(ref *rows[1], x), TPixels.Load(ref *rows[2], x), TPixels.Load(ref *rows[3], x), TPixels.Load(ref *rows[4], x));

    /// <summary>Work space of a search: where pixels passed after the column taps.</summary>
    internal sealed class Screen(int width)
    {
        /// <summary>First column of a register in which one or more did.</summary>
        public readonly int[] Columns = GC.AllocateUninitializedArray<int>((width / Lanes128.Count) + 2);

        /// <summary>Which: the bits of the first row, then those of the second, third and fourth.</summary>
        public readonly ulong[] Bits = GC.AllocateUninitializedArray<ulong>((width / Lanes128.Count) + 2);
    }
}
