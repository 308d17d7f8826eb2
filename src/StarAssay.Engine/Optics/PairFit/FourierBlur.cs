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
    private readonly Transfers transfers = new(stage, memory);
    private readonly Transfers slopes = new(stage, memory);
    private SplitMatrix? backSpectrum;
    private SplitMatrix? backMiddle;

    /// <inheritdoc/>
    public int Span => stage.Size;

    /// <inheritdoc/>
    public void Set(ImageBlur first, ImageBlur second)
    {
        bool whole = first.Trail != default || second.Trail != default;
        if (transfers.Take(whole, second != first))
        {
            stage.Transfer(second, jitterPx2, transfers.Second);
        }

        stage.Transfer(first, jitterPx2, transfers.First);
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
        if (slopes.Take(transfers.Whole, transfers.Differ))
        {
            stage.TransferByStrength(transfers.Second, slopes.Second);
        }

        stage.TransferByStrength(transfers.First, slopes.First);

        stage.ToPixels(spectrum, slopes.First, slopes.Second, space, pixels, team);
    }

    /// <inheritdoc/>
    public void Backward(in SplitMatrix pixels, in SplitMatrix image, Team team)
    {
        SplitMatrix back = backSpectrum ??= stage.NewSpectrum(memory);
        SplitMatrix between = backMiddle ??= memory.Matrix(stage.Count, stage.Size, clear: false);
        stage.Backward(pixels, transfers.First, transfers.Second, space, back, between, image, stage.Size, team);
    }

    // One table for both images, or one each; of the half plane, or of the whole.
    private sealed class Transfers(BlurStage stage, MatrixLease memory)
    {
        private readonly float[]?[,] tables = new float[2, 2][];

        public float[] First { get; private set; } = [];

        public float[] Second { get; private set; } = [];

        public bool Whole { get; private set; }

        public bool Differ => !ReferenceEquals(First, Second);

        public bool Take(bool whole, bool two)
        {
            Whole = whole;
            First = Table(0);
            Second = two ? Table(1) : First;
            return two;
        }

        private float[] Table(int k) => tables[k, Whole ? 1 : 0] ??= stage.NewTable(memory, Whole);
    }
}
