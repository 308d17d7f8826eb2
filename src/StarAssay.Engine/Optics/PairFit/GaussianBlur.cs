using System.Numerics.Tensors;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>
/// Seeing that is a Gaussian: blur and pixel separate, so each axis takes one short row of weights instead of transforms.
/// </summary>
/// <remarks>A pixel is the sum of the fine samples round its middle, weighted by the Gaussian's integral over a pixel's width. That
/// equals the way through <see cref="FourierBlur"/> as long as the Gaussian has died out at the fine grid's highest frequency and there is no
/// trail: see <see cref="Serves"/>. Beyond the fine images lies nothing.</remarks>
internal sealed unsafe class GaussianBlur : IPairBlur
{
    // exp(-2 pi^2 1.2^2/4) = 0.0008 at the highest frequency of the fine grid, where the diffraction image ends.
    private const double NarrowestInSamples = 1.2;

    private readonly BandedRows banded;
    private readonly int window;
    private readonly int oversampling;
    private readonly double jitterPx2;
    private readonly int padded;
    private readonly SplitMatrix rows;
    private readonly SplitMatrix turned;
    private readonly SplitMatrix square;
    private (GaussianWeights First, GaussianWeights Second) weights;
    private SplitMatrix last;

    /// <summary>Prepares for one geometry.</summary>
    /// <param name="span">Fine samples along each side.</param>
    /// <param name="oversampling">Fine samples along a pixel.</param>
    /// <param name="window">Pixels along each side, a multiple of 16.</param>
    /// <param name="jitterPx2">Variance of guiding jitter along each axis, square pixels.</param>
    /// <param name="memory">Where the work space comes from.</param>
    public GaussianBlur(int span, int oversampling, int window, double jitterPx2, MatrixLease memory)
    {
        Span = span;
        this.oversampling = oversampling;
        this.window = window;
        this.jitterPx2 = jitterPx2;
        padded = Fft.Padded(span);
        banded = new BandedRows(span, oversampling, window);
        rows = memory.Matrix(window, span, clear: false);
        turned = memory.Matrix(padded, window, clear: false);
        square = memory.Matrix(window, window, clear: false);
    }

    /// <inheritdoc/>
    public int Span { get; }

    /// <summary>True when the blur is wide enough for weights on the fine grid, and alike in all directions.</summary>
    public static bool Serves(ImageBlur blur, double jitterPx2, int oversampling) =>
        blur.Trail == default && Math.Sqrt(Math.Max(0, blur.Seeing + jitterPx2)) * oversampling >= NarrowestInSamples;

    /// <inheritdoc/>
    public void Set(ImageBlur first, ImageBlur second)
    {
        var one = new GaussianWeights(first.Seeing + jitterPx2, oversampling);
        weights = (one, second == first ? one : new GaussianWeights(second.Seeing + jitterPx2, oversampling));
    }

    /// <inheritdoc/>
    public void ToPixels(in SplitMatrix image, in SplitMatrix pixels, Team team)
    {
        SplitMatrix from = image;
        SplitMatrix to = pixels;
        last = image;
        team.For(2, (k, _) =>
        {
            float[] w = (k == 0 ? weights.First : weights.Second).Value;
            OneWay(k, from, w, w, Part(to, k));
        });
    }

    /// <inheritdoc/>
    public void ByStrength(in SplitMatrix pixels, Team team)
    {
        SplitMatrix to = pixels;
        team.For(2, (k, _) =>
        {
            GaussianWeights w = k == 0 ? weights.First : weights.Second;
            OneWay(k, last, w.Slope, w.Value, Part(square, k));
            OneWay(k, last, w.Value, w.Slope, Part(to, k));
            var sum = new Span<float>(Part(to, k), window * window);
            TensorPrimitives.Add(sum, new ReadOnlySpan<float>(Part(square, k), window * window), sum);
        });
    }

    /// <inheritdoc/>
    public void Backward(in SplitMatrix pixels, in SplitMatrix image, Team team)
    {
        SplitMatrix from = pixels;
        SplitMatrix to = image;
        team.For(2, (k, _) =>
        {
            float[] w = (k == 0 ? weights.First : weights.Second).Value;
            Transposition.Whole(Part(from, k), window, window, window, Part(square, k), window);
            banded.Spread(Part(square, k), window, window, w, Part(turned, k), window);
            Transposition.Whole(Part(turned, k), window, padded, window, Part(rows, k), padded);
            banded.Spread(Part(rows, k), padded, padded, w, Part(to, k), to.Stride);
        });
    }

    private static float* Part(in SplitMatrix m, int k) => k == 0 ? m.RePointer : m.ImPointer;

    // Along y, then turned, along x, and turned back.
    private void OneWay(int k, in SplitMatrix image, float[] down, float[] across, float* pixels)
    {
        banded.Collect(Part(image, k), image.Stride, padded, down, Part(rows, k), padded);
        Transposition.Whole(Part(rows, k), padded, window, padded, Part(turned, k), window);
        banded.Collect(Part(turned, k), window, window, across, Part(rows, k), window);
        Transposition.Whole(Part(rows, k), window, window, window, pixels, window);
    }
}
