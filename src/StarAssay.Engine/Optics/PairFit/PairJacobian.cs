using System.Numerics.Tensors;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>Exact derivatives of a model's unit-light images at the state that it was last evaluated at.</summary>
internal sealed class PairJacobian
{
    /// <summary>Derivative images besides the modes, in this order after them: defocus, tilt x, tilt y, seeing.</summary>
    public const int ExtraUnits = 4;

    private readonly PairModel model;
    private readonly PairGrids grids;
    private readonly int narrow;
    private Space[]? bySpectrum;
    private Space[]? byWeights;

    /// <summary>Takes a model; memory is taken when first needed.</summary>
    public PairJacobian(PairModel model)
    {
        this.model = model;
        grids = model.Grids;
        narrow = grids.NarrowSize;
    }

    /// <summary>
    /// Fills one image pair per unknown: the modes that are wanted, then defocus, tilt x, tilt y and seeing. The real part
    /// belongs to the first image's unknown (or to the common one), the imaginary part to the second's.
    /// </summary>
    /// <param name="state">The state that <see cref="PairModel.Evaluate"/> was last called with.</param>
    /// <param name="modeCount">How many modes, counted from the first.</param>
    /// <param name="units">modeCount + 4 matrices of window x window, filled.</param>
    public void Fill(PairState state, int modeCount, SplitMatrix[] units)
    {
        grids.EnsureModes(modeCount, model.Team, model.Memory);
        (ImageBlur first, ImageBlur second) = model.Blurs.Of(state);
        Space[] workers = Spaces();
        foreach (Space space in workers)
        {
            space.Blur.Set(first, second);
        }

        model.Team.For(modeCount + 3, (unit, worker) => PathUnit(unit, modeCount, units[unit], workers[worker], worker));
        SplitMatrix bySeeing = units[modeCount + 3];
        model.Blurs.Current.ByStrength(bySeeing, model.Team);
        for (int k = 0; k < 2; k++)
        {
            TensorPrimitives.Multiply(bySeeing.Part(k), (float)model.Optics.StretchedSeeing(1, k), bySeeing.Part(k));
        }
    }

    // Made when first needed, and again when the kind of blur changes.
    private Space[] Spaces() => model.Blurs.ByWeights ? byWeights ??= NewSpaces() : bySpectrum ??= NewSpaces();

    private Space[] NewSpaces() => [.. model.Blurs.ForMiddle(model.Team.Workers).Select(blur => new Space(this, blur))];

    private void PathUnit(int unit, int modeCount, SplitMatrix result, Space space, int worker)
    {
        FftScratch scratch = model.Team.Scratch(worker);
        for (int k = 0; k < 2; k++)
        {
            for (int l = 0; l < grids.Waves; l++)
            {
                PupilGrid g = grids.Pupil(k, l);
                float[] basis = unit < modeCount ? g.Mode(unit)
                    : (unit - modeCount) switch { 0 => g.Radius2, 1 => g.X, _ => g.Y };

                // Sixteen columns at a time, so that what is between the transforms stays in the nearest cache.
                for (int c = 0; c < g.Size; c += Fft.Lanes)
                {
                    int end = Math.Min(Fft.Lanes, g.Size - c);
                    g.FieldDerivative(model.Field(k, l), basis, c, space.Strip[k, l]);
                    grids.Transform.Pass(space.Strip[k, l], g.Size, -g.Size / 2, space.Middle, -narrow / 2, narrow, 0, end, scratch, c);
                }

                Span<float> sum = space.Image.Part(k);
                float scale = (float)(2 * grids.ScaleOf(k, l));
                for (int c = 0; c < narrow; c += Fft.Lanes)
                {
                    int end = Math.Min(narrow, c + Fft.Lanes);
                    grids.Transform.Pass(space.Middle, g.Size, -g.Size / 2, space.Amplitude, -narrow / 2, narrow, c, end, scratch, 0);
                    AddProduct(model.Amplitude(k, l), space.Amplitude, c, end, scale, sum, l == 0);
                }
            }
        }

        space.Blur.ToPixels(space.Image, result, space.Alone);
    }

    // sum += 2 scale Re(conj A dA) for some rows of the middle of A; d holds these rows alone.
    private void AddProduct(in SplitMatrix a, in SplitMatrix d, int begin, int end, float scale, Span<float> sum, bool clear)
    {
        int skip = (model.Blurs.Current.Span - narrow) / 2;
        int stride = Fft.Padded(narrow);
        for (int j = begin; j < end; j++)
        {
            ReadOnlySpan<float> ar = a.Re.Slice(((j + skip) * a.Stride) + skip, narrow);
            ReadOnlySpan<float> ai = a.Im.Slice(((j + skip) * a.Stride) + skip, narrow);
            ReadOnlySpan<float> dr = d.Re.Slice((j - begin) * d.Stride, narrow);
            ReadOnlySpan<float> di = d.Im.Slice((j - begin) * d.Stride, narrow);
            Span<float> to = sum.Slice(j * stride, narrow);
            int i = Vector512.IsHardwareAccelerated ? AddRow<Lanes512>(ar, ai, dr, di, scale, to, clear)
                : Vector256.IsHardwareAccelerated ? AddRow<Lanes256>(ar, ai, dr, di, scale, to, clear)
                : AddRow<Lanes128>(ar, ai, dr, di, scale, to, clear);

            for (; i < narrow; i++)
            {
                float v = ((ar[i] * dr[i]) + (ai[i] * di[i])) * scale;
                to[i] = clear ? v : to[i] + v;
            }
        }
    }

    // Sixteen columns of derivative fields, zero outside the pupil's runs; images of one grid share them.
    private SplitMatrix[,] Strips()
    {
        var strips = new SplitMatrix[2, grids.Waves];
        for (int l = 0; l < grids.Waves; l++)
        {
            for (int k = 0; k < 2; k++)
            {
                strips[k, l] = k == 1 && grids.Shared(l) ? strips[0, l] : model.Memory.Matrix(grids.Pupil(k, l).Size, Fft.Lanes);
            }
        }

        return strips;
    }

    // What one worker needs.
    private sealed class Space(PairJacobian owner, IPairBlur blur)
    {
        public SplitMatrix[,] Strip { get; } = owner.Strips();

        public SplitMatrix Middle { get; } = owner.model.Memory.Matrix(owner.grids.Largest + Fft.Lanes, owner.narrow, clear: false);

        public SplitMatrix Amplitude { get; } = owner.model.Memory.Matrix(Fft.Lanes, owner.narrow, clear: false);

        public SplitMatrix Image { get; } = owner.model.Memory.Matrix(owner.narrow, owner.narrow, clear: false);

        public IPairBlur Blur { get; } = blur;

        public Team Alone { get; } = new(1, CancellationToken.None);
    }

    // One row of a product, as far as whole registers go; how far that is.
    private static int AddRow<T>(ReadOnlySpan<float> ar, ReadOnlySpan<float> ai, ReadOnlySpan<float> dr, ReadOnlySpan<float> di, float scale, Span<float> to,
        bool clear)
        where T : struct, ILanes<T>
    {
        T factor = T.Of(scale);
        ref float a0 = ref MemoryMarshal.GetReference(ar);
        ref float a1 = ref MemoryMarshal.GetReference(ai);
        ref float d0 = ref MemoryMarshal.GetReference(dr);
        ref float d1 = ref MemoryMarshal.GetReference(di);
        ref float sum = ref MemoryMarshal.GetReference(to);
        int i = 0;
        for (; i <= to.Length - T.Count; i += T.Count)
        {
            T v = ((T.Load(ref a0, i) * T.Load(ref d0, i)) + (T.Load(ref a1, i) * T.Load(ref d1, i))) * factor;
            T.Store(clear ? v : v + T.Load(ref sum, i), ref sum, i);
        }

        return i;
    }
}
