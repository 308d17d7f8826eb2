using System.Runtime.Intrinsics;

namespace StarAssay.Engine.Stars;

/// <summary>
/// A separable 5 x 5 smoothing of Gaussian shape, streamed through the frame four rows at a time: a faint star stands out best
/// from the noise after smoothing with its own shape.
/// </summary>
/// <remarks>The taps sum to 1 in each direction, so a sky that is straight over five pixels passes unchanged and filtered
/// values can be compared with the unsmoothed sky level. Four rows at once need eight rows of input instead of twenty.</remarks>
internal sealed unsafe partial class MatchedFilter
{
    /// <summary>Pixels of slack before and after each work row; loads at the rim stay inside.</summary>
    public const int Slack = 16;

    /// <summary>Rows smoothed at once.</summary>
    public const int Rows = 4;

    /// <summary>Rows of input for them: two more on either side.</summary>
    public const int Inputs = Rows + 4;

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

    /// <summary>Smooths four rows and lists the pixels above the threshold.</summary>
    /// <param name="inputs">Eight input rows.</param>
    /// <param name="width">Pixels in a row.</param>
    /// <param name="work">Scratch of four rows, each from the slack of width + 2 slacks on.</param>
    /// <param name="outputs">Four rows that receive the smoothed pixels; room for a slack behind each.</param>
    /// <param name="threshold">Threshold of each column; +infinity in the slack behind it.</param>
    /// <param name="found">Four lists, each as long as a row: the columns above the threshold.</param>
    /// <param name="counts">Receives how many columns each list holds.</param>
    /// <param name="ahead">Bytes from a row to the one that takes its place in the next call, to be brought near; 0: not known.</param>
    /// <returns>False when an input row holds NaN or infinity; nothing of the outputs is of use then.</returns>
    public bool Smooth(float** inputs, int width, float** work, float** outputs, float* threshold, int** found, int* counts, nint ahead = 0) =>
        !Vector128.IsHardwareAccelerated ? SmoothScalar(inputs, width, work, outputs, threshold, found, counts)
        : Vector512.IsHardwareAccelerated ? SmoothLanes<Numerics.Lanes512>(inputs, width, work, outputs, threshold, found, counts, ahead)
        : Vector256.IsHardwareAccelerated ? SmoothLanes<Numerics.Lanes256>(inputs, width, work, outputs, threshold, found, counts, ahead)
        : SmoothLanes<Numerics.Lanes128>(inputs, width, work, outputs, threshold, found, counts, ahead);
}
