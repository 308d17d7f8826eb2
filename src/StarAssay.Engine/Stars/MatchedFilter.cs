using System.Runtime.Intrinsics;

namespace StarAssay.Engine.Stars;

/// <summary>
/// A separable 5 x 5 smoothing of Gaussian shape, streamed row by row: a faint star stands out best from the noise after
/// smoothing with its own shape.
/// </summary>
/// <remarks>The taps sum to 1 in each direction, so a sky that is straight over five pixels passes unchanged and filtered
/// values can be compared with the unsmoothed sky level.</remarks>
internal sealed unsafe partial class MatchedFilter
{
    /// <summary>Pixels of slack before and after each work row; loads at the rim stay inside.</summary>
    public const int Slack = 16;

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

    /// <summary>
    /// Smooths one row and lists the pixels above a threshold.
    /// </summary>
    /// <param name="rows">Five rows, the middle one is the row asked for.</param>
    /// <param name="width">Pixels in a row.</param>
    /// <param name="work">Scratch of width + 2 slacks, from its slack on.</param>
    /// <param name="filtered">Receives the smoothed row; room for a slack behind it.</param>
    /// <param name="threshold">Threshold of each pixel; +infinity in the slack behind it.</param>
    /// <param name="found">Receives the columns above the threshold; as long as the row.</param>
    /// <returns>Number of columns found.</returns>
    public int Row(float** rows, int width, float* work, float* filtered, float* threshold, int* found) =>
        !Vector128.IsHardwareAccelerated ? RowScalar(rows, width, work, filtered, threshold, found)
        : Vector512.IsHardwareAccelerated ? RowLanes<Numerics.Lanes512>(rows, width, work, filtered, threshold, found)
        : Vector256.IsHardwareAccelerated ? RowLanes<Numerics.Lanes256>(rows, width, work, filtered, threshold, found)
        : RowLanes<Numerics.Lanes128>(rows, width, work, filtered, threshold, found);
}
