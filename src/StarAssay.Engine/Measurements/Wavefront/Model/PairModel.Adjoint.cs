using System.Numerics.Tensors;
using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <content>The gradient by all unknowns at once, for the price of two evaluations: a cost's gradient by the pixels is
/// carried backwards through pixels, blur and diffraction to the path at every pupil sample.</content>
internal sealed partial class PairModel
{
    private AdjointSpace? adjoint;

    /// <summary>
    /// Products of the derivative images with given pixel weights, without making the images.
    /// </summary>
    /// <param name="state">The state that <see cref="Evaluate"/> was last called with.</param>
    /// <param name="modeCount">How many modes, counted from the first.</param>
    /// <param name="pixels">What to multiply with: first image in the real part, second in the imaginary part. Overwritten.</param>
    /// <param name="modesSum">Sum over both images for each mode.</param>
    /// <param name="perImage">For each image: defocus, tilt x, tilt y.</param>
    /// <param name="seeing">For each image: seeing.</param>
    public void Adjoint(PairState state, int modeCount, SplitMatrix pixels, double[] modesSum, double[,] perImage, double[] seeing)
    {
        AdjointSpace space = adjoint ??= new AdjointSpace(this);
        SeeingProducts(pixels, seeing, space);
        blur.Backward(pixels, space.Image, team);
        EnsureModes(modeCount);
        team.For(2, (k, worker) =>
        {
            for (int l = 0; l < waves; l++)
            {
                PupilGrid g = grids[k, l];
                Multiply(amplitudes[k, l], k == 0 ? space.Image.Re : space.Image.Im, (float)(2 * g.Scale / ((double)size * size)), space.Amplitude[k]);
                FftScratch scratch = team.Scratch(worker);
                SplitMatrix field = space.Field[k, l];
                fine.Pass(space.Amplitude[k].Exchanged, span, -span / 2, space.Middle[k].Exchanged, -g.Size / 2, g.Size, 0, span, scratch);
                fine.Pass(space.Middle[k].Exchanged, span, -span / 2, field.Exchanged, -g.Size / 2, g.Size, 0, g.Size, scratch);
                g.PathGradient(fields[k, l], field, space.Path[k, l]);
                perImage[k, 0] = (l == 0 ? 0 : perImage[k, 0]) + Gram.Dot(space.Path[k, l], g.Radius2);
                perImage[k, 1] = (l == 0 ? 0 : perImage[k, 1]) + Gram.Dot(space.Path[k, l], g.X);
                perImage[k, 2] = (l == 0 ? 0 : perImage[k, 2]) + Gram.Dot(space.Path[k, l], g.Y);
            }
        });
        for (int l = 0; l < waves; l++)
        {
            if (OneGrid(l))
            {
                TensorPrimitives.Add(space.Path[0, l], space.Path[1, l], space.Path[0, l]);
            }
        }

        team.For(modeCount, (j, _) =>
        {
            double sum = 0;
            for (int l = 0; l < waves; l++)
            {
                sum += Gram.Dot(space.Path[0, l], grids[0, l].Mode(j));
                sum += OneGrid(l) ? 0 : Gram.Dot(space.Path[1, l], grids[1, l].Mode(j));
            }

            modesSum[j] = sum;
        });
    }

    private void SeeingProducts(in SplitMatrix pixels, double[] seeing, AdjointSpace space)
    {
        blur.ByStrength(space.Pixels, team);
        seeing[0] = Gram.Dot(space.Pixels.Re, pixels.Re) * optics.StretchedSeeing(1, 0);
        seeing[1] = Gram.Dot(space.Pixels.Im, pixels.Im) * optics.StretchedSeeing(1, 1);
    }

    private void Multiply(in SplitMatrix a, ReadOnlySpan<float> by, float scale, in SplitMatrix to)
    {
        int columns = Fft.Padded(span);
        var factor = Vector512.Create(scale);
        for (int j = 0; j < span; j++)
        {
            ReadOnlySpan<float> ar = a.Re.Slice(j * a.Stride, columns);
            ReadOnlySpan<float> ai = a.Im.Slice(j * a.Stride, columns);
            ReadOnlySpan<float> gradient = by.Slice(j * a.Stride, columns);
            Span<float> tr = to.Re.Slice(j * to.Stride, columns);
            Span<float> ti = to.Im.Slice(j * to.Stride, columns);
            for (int i = 0; i < columns; i += Fft.Lanes)
            {
                Vector512<float> g = Vector512.Create(gradient.Slice(i, Fft.Lanes)) * factor;
                (Vector512.Create(ar.Slice(i, Fft.Lanes)) * g).CopyTo(tr[i..]);
                (Vector512.Create(ai.Slice(i, Fft.Lanes)) * g).CopyTo(ti[i..]);
            }
        }
    }

    private sealed class AdjointSpace
    {
        public AdjointSpace(PairModel m)
        {
            int waves = m.waves;
            Image = m.memory.Matrix(m.size, m.size, clear: false);
            Amplitude = [m.memory.Matrix(m.size, m.size, clear: false), m.memory.Matrix(m.size, m.size, clear: false)];
            Middle = [m.memory.Matrix(m.size, m.largest, clear: false), m.memory.Matrix(m.size, m.largest, clear: false)];
            Pixels = m.memory.Matrix(m.optics.Window, m.optics.Window, clear: false);
            Field = new SplitMatrix[2, waves];
            Path = new float[2, waves][];
            for (int k = 0; k < 2; k++)
            {
                for (int l = 0; l < waves; l++)
                {
                    Field[k, l] = m.memory.Matrix(m.grids[k, l].Size, m.grids[k, l].Size + Fft.Lanes);
                    Path[k, l] = m.memory.Floats(m.grids[k, l].Length, clear: false);
                }
            }
        }

        public SplitMatrix Image { get; }

        public SplitMatrix[] Amplitude { get; }

        public SplitMatrix[] Middle { get; }

        public SplitMatrix Pixels { get; }

        public SplitMatrix[,] Field { get; }

        public float[,][] Path { get; }
    }
}
