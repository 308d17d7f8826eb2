using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>Which blur serves a pair's seeing: weights on the fine grid for a Gaussian that is wide enough, the spectrum for
/// all others.</summary>
internal sealed class PairBlurs
{
    // Pixels round the window, half on each side, from which a Gaussian of common seeing can still bring light into it.
    private const int EdgePixels = 16;

    private readonly PairOptics optics;
    private readonly PairGrids grids;
    private readonly MatrixLease memory;
    private readonly IPairBlur? gaussian;
    private readonly Lazy<IPairBlur> fourier;
    private readonly Lazy<BlurStage> stage;

    /// <summary>Prepares what is sure to be used.</summary>
    public PairBlurs(PairOptics optics, PairGrids grids, MatrixLease memory)
    {
        this.optics = optics;
        this.grids = grids;
        this.memory = memory;
        stage = new Lazy<BlurStage>(() => Stage(grids.Size));
        fourier = new Lazy<IPairBlur>(() => new FourierBlur(stage.Value, optics.JitterPx2, memory));
        int reached = Math.Min(grids.Size, Math.Max(grids.NarrowSize, Fft.Padded(grids.Oversampling * (optics.Window + EdgePixels))));
        gaussian = optics.Gaussian ? new GaussianBlur(reached, grids.Oversampling, optics.Window, optics.JitterPx2, memory) : null;
        Current = gaussian ?? fourier.Value;
    }

    /// <summary>The blur that <see cref="Choose"/> found last.</summary>
    public IPairBlur Current { get; private set; }

    /// <summary>True when that one works by weights.</summary>
    public bool ByWeights => ReferenceEquals(Current, gaussian);

    /// <summary>Takes the blur that serves a state, and sets it to the state's seeing.</summary>
    public void Choose(PairState state)
    {
        (ImageBlur first, ImageBlur second) = Of(state);
        Current = gaussian is not null && Serves(first) && Serves(second) ? gaussian : fourier.Value;
        Current.Set(first, second);

        bool Serves(ImageBlur blur) => GaussianBlur.Serves(blur, optics.JitterPx2, grids.Oversampling);
    }

    /// <summary>Blur of both images in the units of their own pixels.</summary>
    public (ImageBlur First, ImageBlur Second) Of(PairState s) =>
        (new(optics.StretchedSeeing(s.Seeing[0], 0), s.Trails[0]), new(optics.StretchedSeeing(s.Seeing[1], 1), s.Trails[1]));

    /// <summary>Blurs of the present kind for the middle of the field, one a worker; they share their tables.</summary>
    public IPairBlur[] ForMiddle(int workers)
    {
        BlurStage? tables = ByWeights ? null : grids.NarrowSize == grids.Size ? stage.Value : Stage(grids.NarrowSize);
        return [.. Enumerable.Range(0, workers).Select(_ => (IPairBlur)(tables is null
            ? new GaussianBlur(grids.NarrowSize, grids.Oversampling, optics.Window, optics.JitterPx2, memory)
            : new FourierBlur(tables, optics.JitterPx2, memory)))];
    }

    private BlurStage Stage(int fieldSize) =>
        new(fieldSize, grids.Oversampling, optics.Window, optics.HighestPassed, optics.TurbulenceLog, memory);
}
