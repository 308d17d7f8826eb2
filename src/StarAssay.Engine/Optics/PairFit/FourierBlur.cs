using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>Any blur, by way of the images' spectrum: see <see cref="BlurStage"/>.</summary>
/// <param name="stage">Tables and transforms; several of these may share them.</param>
/// <param name="jitterPx2">Variance of guiding jitter along each axis, square pixels.</param>
/// <param name="memory">Where the work space comes from.</param>
internal sealed class FourierBlur(BlurStage stage, double jitterPx2, MatrixLease memory) : IPairBlur
{
    private readonly SplitMatrix middle = memory.Matrix(stage.Size, stage.Count, clear: false);
    private readonly SplitMatrix spectrum = stage.NewSpectrum(memory);
    private readonly BlurSpace space = stage.NewSpace(memory);
    private readonly Transfers transfers = new(stage.NewTable(memory));
    private Transfers? slopes;
    private SplitMatrix? backSpectrum;
    private SplitMatrix? backMiddle;

    /// <inheritdoc/>
    public int Span => stage.Size;

    /// <inheritdoc/>
    public void Set(double first, double second)
    {
        stage.Transfer(first, jitterPx2, transfers.First);
        if (transfers.Two(second != first, stage, memory))
        {
            stage.Transfer(second, jitterPx2, transfers.Second);
        }
    }

    /// <inheritdoc/>
    public void ToPixels(in SplitMatrix image, in SplitMatrix pixels, Team team)
    {
        stage.Spectrum(image, stage.Size, middle, spectrum, team);
        stage.ToPixels(spectrum, transfers.First, transfers.Second, space, pixels, team);
    }

    /// <inheritdoc/>
    public void ByStrength(in SplitMatrix pixels, Team team)
    {
        slopes ??= new Transfers(stage.NewTable(memory));
        stage.TransferByStrength(transfers.First, slopes.First);
        if (slopes.Two(transfers.Differ, stage, memory))
        {
            stage.TransferByStrength(transfers.Second, slopes.Second);
        }

        stage.ToPixels(spectrum, slopes.First, slopes.Second, space, pixels, team);
    }

    /// <inheritdoc/>
    public void Backward(in SplitMatrix pixels, in SplitMatrix image, Team team)
    {
        SplitMatrix back = backSpectrum ??= stage.NewSpectrum(memory);
        SplitMatrix between = backMiddle ??= memory.Matrix(stage.Count, stage.Size, clear: false);
        stage.Backward(pixels, transfers.First, transfers.Second, space, back, between, image, stage.Size, team);
    }

    // One table for both images, or one each.
    private sealed class Transfers(float[] first)
    {
        private float[]? other;

        public float[] First { get; } = first;

        public float[] Second { get; private set; } = first;

        public bool Differ => !ReferenceEquals(First, Second);

        public bool Two(bool wanted, BlurStage stage, MatrixLease memory)
        {
            Second = wanted ? other ??= stage.NewTable(memory) : First;
            return wanted;
        }
    }
}
