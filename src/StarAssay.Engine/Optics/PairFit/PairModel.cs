using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>
/// The forward model of one inside/outside pair: pupil, Zernike path and defocus to diffraction images at every
/// wavelength, then seeing, jitter and pixels.
/// </summary>
/// <remarks>What it computes on, <see cref="PairGrids"/> says; what blurs, <see cref="PairBlurs"/>. Derivatives at the last state:
/// <see cref="PairJacobian"/> and <see cref="PairAdjoint"/>.</remarks>
internal sealed class PairModel : IDisposable
{
    private readonly SplitMatrix[,] fields;
    private readonly SplitMatrix[,] amplitudes;
    private readonly SplitMatrix image;
    private readonly SplitMatrix[] fieldMiddle;
    private readonly float[,][] path;
    private PairJacobian? jacobian;
    private PairAdjoint? adjoint;
    private int span;

    /// <summary>Prepares grids and memory.</summary>
    /// <param name="optics">What is held fixed.</param>
    /// <param name="modes">Modes of the fit.</param>
    /// <param name="largestDefocusNm">Largest W020 that will be asked for; sets the size of the field.</param>
    /// <param name="team">Workers.</param>
    /// <param name="grade">How finely.</param>
    public PairModel(PairOptics optics, IReadOnlyList<ZernikeIndex> modes, double largestDefocusNm, Team team, PairModelGrade grade = PairModelGrade.Exact)
    {
        Optics = optics;
        Team = team;
        Modes = modes;
        LargestDefocusNm = largestDefocusNm;
        Grids = new PairGrids(optics, modes, largestDefocusNm, grade, team, Memory);
        Blurs = new PairBlurs(optics, Grids, Memory);
        int size = Grids.Size;
        fields = new SplitMatrix[2, Grids.Waves];
        amplitudes = new SplitMatrix[2, Grids.Waves];
        path = new float[2, Grids.Waves][];
        for (int k = 0; k < 2; k++)
        {
            for (int l = 0; l < Grids.Waves; l++)
            {
                PupilGrid pupil = Grids.Pupil(k, l);
                fields[k, l] = Memory.Matrix(pupil.Size, pupil.Size + Fft.Lanes);
                amplitudes[k, l] = Memory.Matrix(size, size, clear: false);
                path[k, l] = k == 1 && Grids.Shared(l) ? path[0, l] : Memory.Floats(pupil.Length, clear: false);
            }
        }

        image = Memory.Matrix(size, size, clear: false);
        fieldMiddle = [.. Enumerable.Range(0, 2).Select(_ => Memory.Matrix(Grids.Largest + Fft.Lanes, size, clear: false))];
        Pixels = Memory.Matrix(optics.Window, optics.Window, clear: false);
    }

    /// <summary>Modes of the fit.</summary>
    public IReadOnlyList<ZernikeIndex> Modes { get; }

    /// <summary>Largest W020 that the field was made for, nm.</summary>
    public double LargestDefocusNm { get; }

    /// <summary>What is held fixed.</summary>
    public PairOptics Optics { get; }

    /// <summary>What it is computed on.</summary>
    public PairGrids Grids { get; }

    /// <summary>What blurs.</summary>
    public PairBlurs Blurs { get; }

    /// <summary>Workers.</summary>
    public Team Team { get; }

    /// <summary>Memory that ends with this model.</summary>
    public MatrixLease Memory { get; } = new();

    /// <summary>Images of unit light after <see cref="Evaluate"/>: first in the real part, second in the imaginary part.</summary>
    public SplitMatrix Pixels { get; }

    /// <summary>Derivative images.</summary>
    public PairJacobian Jacobian => jacobian ??= new PairJacobian(this);

    /// <summary>Products with all derivative images at once.</summary>
    public PairAdjoint Adjoint => adjoint ??= new PairAdjoint(this);

    /// <inheritdoc/>
    public void Dispose() => Memory.Dispose();

    /// <summary>Field in the pupil of an image at a wavelength after <see cref="Evaluate"/>.</summary>
    public ref readonly SplitMatrix Field(int k, int wave) => ref fields[k, wave];

    /// <summary>Amplitude on the fine grid, its first <see cref="IPairBlur.Span"/> rows and columns, after <see cref="Evaluate"/>.</summary>
    public ref readonly SplitMatrix Amplitude(int k, int wave) => ref amplitudes[k, wave];

    /// <summary>Computes both images of unit light.</summary>
    public void Evaluate(PairState state)
    {
        Blurs.Choose(state);
        span = Blurs.Current.Span;
        Grids.EnsureModes(1 + Array.FindLastIndex(state.CoefficientsNm, c => c != 0), Team, Memory);
        Team.For(Grids.Waves, (l, _) =>
        {
            Grids.Pupil(0, l).Path(state.CoefficientsNm, path[0, l]);
            if (!Grids.Shared(l))
            {
                Grids.Pupil(1, l).Path(state.CoefficientsNm, path[1, l]);
            }
        });

        Team.For(2, (k, worker) =>
        {
            for (int l = 0; l < Grids.Waves; l++)
            {
                PupilGrid g = Grids.Pupil(k, l);
                g.Field(path[k, l], state.DefocusNm[k], state.TiltXNm[k], state.TiltYNm[k], fields[k, l]);
                FftScratch scratch = Team.Scratch(worker);
                Grids.Transform.Pass(fields[k, l], g.Size, -g.Size / 2, fieldMiddle[k], -span / 2, span, 0, g.Size, scratch);
                Grids.Transform.Pass(fieldMiddle[k], g.Size, -g.Size / 2, amplitudes[k, l], -span / 2, span, 0, span, scratch);
                AddIntensity(amplitudes[k, l], (float)Grids.ScaleOf(k, l), image.Part(k), l == 0);
            }
        });
        Blurs.Current.ToPixels(image, Pixels, Team);
    }

    private void AddIntensity(in SplitMatrix amplitude, float scale, Span<float> sum, bool clear)
    {
        if (Vector512.IsHardwareAccelerated)
        {
            AddIntensityLanes<Lanes512>(amplitude, scale, sum, clear);
        }
        else if (Vector256.IsHardwareAccelerated)
        {
            AddIntensityLanes<Lanes256>(amplitude, scale, sum, clear);
        }
        else
        {
            AddIntensityLanes<Lanes128>(amplitude, scale, sum, clear);
        }
    }

    private void AddIntensityLanes<T>(in SplitMatrix amplitude, float scale, Span<float> sum, bool clear)
        where T : struct, ILanes<T>
    {
        T factor = T.Of(scale);
        int columns = Fft.Padded(span);
        for (int j = 0; j < span; j++)
        {
            ref float re = ref MemoryMarshal.GetReference(amplitude.Re.Slice(j * amplitude.Stride, columns));
            ref float im = ref MemoryMarshal.GetReference(amplitude.Im.Slice(j * amplitude.Stride, columns));
            ref float to = ref MemoryMarshal.GetReference(sum.Slice(j * amplitude.Stride, columns));
            for (int i = 0; i < columns; i += T.Count)
            {
                T a = T.Load(ref re, i);
                T b = T.Load(ref im, i);
                T power = ((a * a) + (b * b)) * factor;
                T.Store(clear ? power : power + T.Load(ref to, i), ref to, i);
            }
        }
    }
}
