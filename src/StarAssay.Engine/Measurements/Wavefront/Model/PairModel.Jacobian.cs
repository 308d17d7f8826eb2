using System.Numerics.Tensors;
using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <content>Exact derivatives of the unit-light images after <see cref="Evaluate"/>.</content>
internal sealed partial class PairModel
{
    private JacobianSpace[]? spaces;
    private JacobianSpace[]? gaussianSpaces;

    /// <summary>Derivative images besides the modes, in this order after them.</summary>
    public const int ExtraUnits = 4;

    /// <summary>
    /// Fills one image pair per unknown: the modes that are wanted, then defocus, tilt x, tilt y and seeing. The real part
    /// belongs to the first image's unknown (or to the common one), the imaginary part to the second's.
    /// </summary>
    /// <param name="state">The state that <see cref="Evaluate"/> was last called with.</param>
    /// <param name="modeCount">How many modes, counted from the first.</param>
    /// <param name="units">modeCount + 4 matrices of window x window, filled.</param>
    public void Jacobian(PairState state, int modeCount, SplitMatrix[] units)
    {
        EnsureModes(modeCount);
        (double first, double second) = Strengths(state);
        JacobianSpace[] workers = Spaces();
        foreach (JacobianSpace space in workers)
        {
            space.Blur.Set(first, second);
        }

        team.For(modeCount + 3, (unit, worker) => PathUnit(unit, modeCount, units[unit], workers[worker], worker));
        SplitMatrix bySeeing = units[modeCount + 3];
        blur.ByStrength(bySeeing, team);
        TensorPrimitives.Multiply(bySeeing.Re, (float)optics.StretchedSeeing(1, 0), bySeeing.Re);
        TensorPrimitives.Multiply(bySeeing.Im, (float)optics.StretchedSeeing(1, 1), bySeeing.Im);
    }

    // Made when first needed, and again when the kind of blur changes; workers of one kind share its tables.
    private JacobianSpace[] Spaces()
    {
        bool weights = ReferenceEquals(blur, gaussian);
        JacobianSpace[]? made = weights ? gaussianSpaces : spaces;
        if (made is not null)
        {
            return made;
        }

        BlurStage? tables = weights ? null : narrowSize == size ? stage.Value : Stage(narrowSize);
        made = [.. Enumerable.Range(0, team.Workers).Select(_ => new JacobianSpace(this, tables is null
            ? new GaussianBlur(narrowSize, Oversampling, optics.Window, optics.JitterPx2, memory)
            : new FourierBlur(tables, optics.JitterPx2, memory)))];
        (spaces, gaussianSpaces) = weights ? (spaces, made) : (made, gaussianSpaces);
        return made;
    }

    private void PathUnit(int unit, int modeCount, SplitMatrix result, JacobianSpace space, int worker)
    {
        FftScratch scratch = team.Scratch(worker);
        for (int k = 0; k < 2; k++)
        {
            for (int l = 0; l < waves; l++)
            {
                PupilGrid g = grids[k, l];
                float[] basis = unit < modeCount ? g.Mode(unit)
                    : (unit - modeCount) switch { 0 => g.Radius2, 1 => g.X, _ => g.Y };

                // Sixteen columns at a time, so that what is between the transforms stays in the nearest cache.
                for (int c = 0; c < g.Size; c += Fft.Lanes)
                {
                    int end = Math.Min(Fft.Lanes, g.Size - c);
                    g.FieldDerivative(fields[k, l], basis, c, space.Strip[k, l]);
                    fine.Pass(space.Strip[k, l], g.Size, -g.Size / 2, space.Middle, -narrowSize / 2, narrowSize, 0, end, scratch, c);
                }

                Span<float> sum = k == 0 ? space.Image.Re : space.Image.Im;
                float scale = (float)(2 * g.Scale / ((double)size * size));
                for (int c = 0; c < narrowSize; c += Fft.Lanes)
                {
                    int end = Math.Min(narrowSize, c + Fft.Lanes);
                    fine.Pass(space.Middle, g.Size, -g.Size / 2, space.Amplitude, -narrowSize / 2, narrowSize, c, end, scratch, 0);
                    AddProduct(amplitudes[k, l], space.Amplitude, c, end, scale, sum, l == 0);
                }
            }
        }

        space.Blur.ToPixels(space.Image, result, space.Alone);
    }

    // sum += 2 scale Re(conj A dA) for some rows of the middle of A; d holds these rows alone.
    private void AddProduct(in SplitMatrix a, in SplitMatrix d, int begin, int end, float scale, Span<float> sum, bool clear)
    {
        int skip = (span - narrowSize) / 2;
        int stride = Fft.Padded(narrowSize);
        var factor = Vector512.Create(scale);
        for (int j = begin; j < end; j++)
        {
            ReadOnlySpan<float> ar = a.Re.Slice(((j + skip) * a.Stride) + skip, narrowSize);
            ReadOnlySpan<float> ai = a.Im.Slice(((j + skip) * a.Stride) + skip, narrowSize);
            ReadOnlySpan<float> dr = d.Re.Slice((j - begin) * d.Stride, narrowSize);
            ReadOnlySpan<float> di = d.Im.Slice((j - begin) * d.Stride, narrowSize);
            Span<float> to = sum.Slice(j * stride, narrowSize);
            int i = 0;
            for (; i <= narrowSize - Fft.Lanes; i += Fft.Lanes)
            {
                Vector512<float> v = ((Vector512.Create(ar.Slice(i, Fft.Lanes)) * Vector512.Create(dr.Slice(i, Fft.Lanes)))
                    + (Vector512.Create(ai.Slice(i, Fft.Lanes)) * Vector512.Create(di.Slice(i, Fft.Lanes)))) * factor;
                (clear ? v : v + Vector512.Create(to.Slice(i, Fft.Lanes))).CopyTo(to[i..]);
            }

            for (; i < narrowSize; i++)
            {
                float v = ((ar[i] * dr[i]) + (ai[i] * di[i])) * scale;
                to[i] = clear ? v : to[i] + v;
            }
        }
    }

    // Sixteen columns of derivative fields, zero outside the pupil's runs; images of one grid share them.
    private SplitMatrix[,] Strips()
    {
        var spaces = new SplitMatrix[2, waves];
        for (int l = 0; l < waves; l++)
        {
            for (int k = 0; k < 2; k++)
            {
                int n = grids[k, l].Size;
                spaces[k, l] = k == 1 && OneGrid(l) ? spaces[0, l] : memory.Matrix(n, Fft.Lanes);
            }
        }

        return spaces;
    }

    private sealed class JacobianSpace
    {
        public JacobianSpace(PairModel m, IPairBlur blur)
        {
            Blur = blur;
            Strip = m.Strips();
            Middle = m.memory.Matrix(m.largest + Fft.Lanes, m.narrowSize, clear: false);
            Amplitude = m.memory.Matrix(Fft.Lanes, m.narrowSize, clear: false);
            Image = m.memory.Matrix(m.narrowSize, m.narrowSize, clear: false);
            Alone = new Team(1, CancellationToken.None);
        }

        public SplitMatrix[,] Strip { get; }

        public SplitMatrix Middle { get; }

        public SplitMatrix Amplitude { get; }

        public SplitMatrix Image { get; }

        public IPairBlur Blur { get; }

        public Team Alone { get; }
    }
}
