using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// The forward model of one inside/outside pair: pupil, Zernike path and defocus to diffraction images at every
/// wavelength, then seeing, jitter and pixels.
/// </summary>
/// <remarks>The fine grid has a whole number of samples a pixel, no wider than lambda N/2 (and a twentieth), at which a diffraction image
/// is sampled without loss; the pupil raster of each wavelength is scaled so that all share this grid. The grid spans at
/// least 2.8 diameters of the larger disc, below which the image's own wings come round again.</remarks>
internal sealed partial class PairModel : IDisposable
{
    private const double FieldInDiscs = 2.8;
    private const double FieldInDiscsRoughly = 1.9;
    private const double FieldInDiscsForSteps = 1.3;
    private const double FewestAcross = 128;

    // Pixels round the window, half on each side, from which a Gaussian of common seeing can still bring light into it.
    private const int EdgePixels = 16;
    private const double FewestAcrossRoughly = 64;

    private readonly MatrixLease memory = new();
    private readonly PairOptics optics;
    private readonly PupilGrid[,] grids;
    private readonly int waves;
    private readonly Fft fine;
    private readonly IPairBlur? gaussian;
    private readonly Lazy<IPairBlur> fourier;
    private readonly Lazy<BlurStage> stage;
    private readonly int size;
    private readonly int narrowSize;
    private readonly int largest;
    private readonly Team team;

    // State after Evaluate.
    private readonly SplitMatrix[,] fields;
    private readonly SplitMatrix[,] amplitudes;
    private readonly SplitMatrix image;
    private readonly SplitMatrix[] fieldMiddle;
    private readonly float[,][] path;
    private IPairBlur blur;
    private int span;

    /// <summary>Prepares grids and memory.</summary>
    /// <param name="optics">What is held fixed.</param>
    /// <param name="modes">Modes of the fit.</param>
    /// <param name="largestDefocusNm">Largest W020 that will be asked for; sets the size of the field.</param>
    /// <param name="team">Workers.</param>
    /// <param name="grade">How finely.</param>
    public PairModel(PairOptics optics, IReadOnlyList<ZernikeIndex> modes, double largestDefocusNm, Team team, PairModelGrade grade = PairModelGrade.Exact)
    {
        this.optics = optics;
        this.team = team;
        Modes = modes;
        LargestDefocusNm = largestDefocusNm;
        double finest = optics.WavelengthsNm.Min() * 1e-3 * optics.FocalRatio / 2;
        int over = OversamplingFor(optics.PitchUm / finest);
        double discPixels = optics.BlurPixels(largestDefocusNm) + 8 * finest / optics.PitchUm;
        double across = (grade == PairModelGrade.Exact ? FewestAcross : FewestAcrossRoughly) * 2 * finest / optics.PitchUm;
        double discs = grade switch
        {
            PairModelGrade.Exact => FieldInDiscs,
            PairModelGrade.Start => FieldInDiscsRoughly,
            _ => FieldInDiscsForSteps,
        };
        double field = Math.Max(discs * discPixels, across);
        size = Fft.GoodSize(over * (int)Math.Ceiling(Math.Max(field, optics.Window)), LowestMultiple(over));
        narrowSize = Fft.GoodSize(over * Math.Max(optics.Window, (int)Math.Ceiling(1.3 * discPixels)), LowestMultiple(over));
        narrowSize = Math.Min(narrowSize, size);
        Oversampling = over;
        double step = optics.PitchUm / over;
        waves = optics.WavelengthsNm.Length;
        grids = new PupilGrid[2, waves];
        team.For(waves, (l, _) =>
        {
            double nm = optics.WavelengthsNm[l];
            double samples = size * step / (nm * 1e-3 * optics.FocalRatio);
            grids[0, l] = new PupilGrid(optics.Shape, modes, samples / optics.Stretch[0], nm, optics.Weights[l], memory);
            grids[1, l] = optics.Stretch[1] == optics.Stretch[0] ? grids[0, l]
                : new PupilGrid(optics.Shape, modes, samples / optics.Stretch[1], nm, optics.Weights[l], memory);
        });

        fine = new Fft(size);
        stage = new Lazy<BlurStage>(() => Stage(size));
        fourier = new Lazy<IPairBlur>(() => new FourierBlur(stage.Value, optics.JitterPx2, memory));
        int reached = Math.Min(size, Math.Max(narrowSize, Fft.Padded(over * (optics.Window + EdgePixels))));
        gaussian = optics.Gaussian ? new GaussianBlur(reached, over, optics.Window, optics.JitterPx2, memory) : null;
        blur = gaussian ?? fourier.Value;
        span = blur.Span;
        fields = new SplitMatrix[2, waves];
        amplitudes = new SplitMatrix[2, waves];
        largest = grids.Cast<PupilGrid>().Max(g => g.Size);
        for (int k = 0; k < 2; k++)
        {
            for (int l = 0; l < waves; l++)
            {
                fields[k, l] = memory.Matrix(grids[k, l].Size, grids[k, l].Size + Fft.Lanes);
                amplitudes[k, l] = memory.Matrix(size, size, clear: false);
            }
        }

        image = memory.Matrix(size, size, clear: false);
        fieldMiddle = [memory.Matrix(largest + Fft.Lanes, size, clear: false), memory.Matrix(largest + Fft.Lanes, size, clear: false)];
        path = new float[2, waves][];
        for (int l = 0; l < waves; l++)
        {
            path[0, l] = memory.Floats(grids[0, l].Length, clear: false);
            path[1, l] = OneGrid(l) ? path[0, l] : memory.Floats(grids[1, l].Length, clear: false);
        }

        Pixels = memory.Matrix(optics.Window, optics.Window, clear: false);
    }

    /// <summary>Modes of the fit.</summary>
    public IReadOnlyList<ZernikeIndex> Modes { get; }

    /// <summary>Largest W020 that the field was made for, nm.</summary>
    public double LargestDefocusNm { get; }

    /// <summary>Fine samples along a pixel.</summary>
    public int Oversampling { get; }

    /// <summary>Fine samples along the field.</summary>
    public int FieldSize => size;

    /// <summary>What is held fixed.</summary>
    public PairOptics Optics => optics;

    /// <summary>Images of unit light after <see cref="Evaluate"/>: first in the real part, second in the imaginary part.</summary>
    public SplitMatrix Pixels { get; }

    /// <summary>Memory that ends with this model.</summary>
    public MatrixLease Memory => memory;

    /// <inheritdoc/>
    public void Dispose() => memory.Dispose();

    /// <summary>Computes both images of unit light.</summary>
    public void Evaluate(PairState state)
    {
        ChooseBlur(state);
        EnsureModes(1 + Array.FindLastIndex(state.CoefficientsNm, c => c != 0));
        team.For(waves, (l, _) =>
        {
            grids[0, l].Path(state.CoefficientsNm, path[0, l]);
            if (!OneGrid(l))
            {
                grids[1, l].Path(state.CoefficientsNm, path[1, l]);
            }
        });

        team.For(2, (k, worker) =>
        {
            for (int l = 0; l < waves; l++)
            {
                PupilGrid g = grids[k, l];
                g.Field(path[k, l], state.DefocusNm[k], state.TiltXNm[k], state.TiltYNm[k], fields[k, l]);
                FftScratch scratch = team.Scratch(worker);
                fine.Pass(fields[k, l], g.Size, -g.Size / 2, fieldMiddle[k], -span / 2, span, 0, g.Size, scratch);
                fine.Pass(fieldMiddle[k], g.Size, -g.Size / 2, amplitudes[k, l], -span / 2, span, 0, span, scratch);
                AddIntensity(amplitudes[k, l], (float)(g.Scale / ((double)size * size)), k == 0 ? image.Re : image.Im, l == 0);
            }
        });
        blur.ToPixels(image, Pixels, team);
    }

    // Weights on the fine grid serve a Gaussian that is wide enough; a narrower one takes the way of all other blurs.
    private void ChooseBlur(PairState state)
    {
        (double first, double second) = Strengths(state);
        double narrowest = Math.Min(first, second) + optics.JitterPx2;
        blur = gaussian is not null && GaussianBlur.Serves(narrowest, Oversampling) ? gaussian : fourier.Value;
        span = blur.Span;
        blur.Set(first, second);
    }

    private BlurStage Stage(int fieldSize)
    {
        double cut = optics.PitchUm / (optics.WavelengthsNm.Min() * 1e-3 * optics.FocalRatio);
        return new BlurStage(fieldSize, Oversampling, optics.Window, cut, optics.TurbulenceLog, memory);
    }

    // True when both images share the grid of a wavelength.
    private bool OneGrid(int wave) => ReferenceEquals(grids[0, wave], grids[1, wave]);

    // Seeing of both images in the units of their own pixels.
    private (double First, double Second) Strengths(PairState s) => (optics.StretchedSeeing(s.Seeing[0], 0), optics.StretchedSeeing(s.Seeing[1], 1));

    private void EnsureModes(int count)
    {
        foreach (PupilGrid grid in grids)
        {
            grid.EnsureModes(count, team, memory); // does nothing the second time where both images share it
        }
    }

    private void AddIntensity(in SplitMatrix amplitude, float scale, Span<float> sum, bool clear)
    {
        var factor = Vector512.Create(scale);
        int columns = Fft.Padded(span);
        for (int j = 0; j < span; j++)
        {
            ReadOnlySpan<float> re = amplitude.Re.Slice(j * amplitude.Stride, columns);
            ReadOnlySpan<float> im = amplitude.Im.Slice(j * amplitude.Stride, columns);
            Span<float> to = sum.Slice(j * amplitude.Stride, columns);
            for (int i = 0; i < columns; i += Fft.Lanes)
            {
                Vector512<float> a = Vector512.Create(re.Slice(i, Fft.Lanes));
                Vector512<float> b = Vector512.Create(im.Slice(i, Fft.Lanes));
                Vector512<float> power = ((a * a) + (b * b)) * factor;
                (clear ? power : power + Vector512.Create(to.Slice(i, Fft.Lanes))).CopyTo(to[i..]);
            }
        }
    }

    // Whole samples a pixel: only numbers whose multiples the transform offers.
    private static int OversamplingFor(double wanted)
    {
        int[] offered = [1, 2, 3, 4, 6, 8, 9, 12, 16, 18, 24];

        // A twentieth below the full rate folds back only the last twentieth of the transfer function, which holds a
        // thousandth of the contrast before seeing and nothing after.
        int n = Math.Max(1, (int)Math.Ceiling((wanted / 1.05) - 1e-9));
        return offered.First(o => o >= Math.Min(n, 24));
    }

    // The folded grid must itself be a size on offer.
    private static int LowestMultiple(int over) => 4 * over;
}
