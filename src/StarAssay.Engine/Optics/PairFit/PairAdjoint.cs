using System.Numerics.Tensors;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>The gradient by all unknowns at once, for the price of two evaluations: a cost's gradient by the pixels is
/// carried backwards through pixels, blur and diffraction to the path at every pupil sample.</summary>
internal sealed class PairAdjoint
{
    private readonly PairModel model;
    private readonly PairGrids grids;
    private readonly SplitMatrix image;
    private readonly SplitMatrix[] amplitude;
    private readonly SplitMatrix[] middle;
    private readonly SplitMatrix bySeeing;
    private readonly SplitMatrix[,] field;
    private readonly float[,][] path;

    /// <summary>Takes memory for a model.</summary>
    public PairAdjoint(PairModel model)
    {
        this.model = model;
        grids = model.Grids;
        MatrixLease memory = model.Memory;
        image = memory.Matrix(grids.Size, grids.Size, clear: false);
        amplitude = [.. Enumerable.Range(0, 2).Select(_ => memory.Matrix(grids.Size, grids.Size, clear: false))];
        middle = [.. Enumerable.Range(0, 2).Select(_ => memory.Matrix(grids.Size, grids.Largest, clear: false))];
        bySeeing = memory.Matrix(model.Optics.Window, model.Optics.Window, clear: false);
        field = new SplitMatrix[2, grids.Waves];
        path = new float[2, grids.Waves][];
        for (int k = 0; k < 2; k++)
        {
            for (int l = 0; l < grids.Waves; l++)
            {
                PupilGrid pupil = grids.Pupil(k, l);
                field[k, l] = memory.Matrix(pupil.Size, pupil.Size + Fft.Lanes);
                path[k, l] = memory.Floats(pupil.Length, clear: false);
            }
        }
    }

    /// <summary>
    /// Products of the derivative images with given pixel weights, without making the images.
    /// </summary>
    /// <param name="modeCount">How many modes, counted from the first.</param>
    /// <param name="pixels">What to multiply with: first image in the real part, second in the imaginary part. Overwritten.</param>
    /// <param name="modeSums">Sum over both images for each mode.</param>
    /// <param name="perImage">For each image: defocus, tilt x, tilt y.</param>
    /// <param name="seeing">For each image: seeing.</param>
    public void Products(int modeCount, SplitMatrix pixels, double[] modeSums, double[,] perImage, double[] seeing)
    {
        IPairBlur blur = model.Blurs.Current;
        blur.ByStrength(bySeeing, model.Team);
        for (int k = 0; k < 2; k++)
        {
            seeing[k] = Gram.Dot(bySeeing.Part(k), pixels.Part(k)) * model.Optics.StretchedSeeing(1, k);
        }

        blur.Backward(pixels, image, model.Team);
        grids.EnsureModes(modeCount, model.Team, model.Memory);
        model.Team.For(2, (k, worker) => Backward(k, blur.Span, model.Team.Scratch(worker), perImage));
        for (int l = 0; l < grids.Waves; l++)
        {
            if (grids.Shared(l))
            {
                TensorPrimitives.Add(path[0, l], path[1, l], path[0, l]);
            }
        }

        model.Team.For(modeCount, (j, _) =>
        {
            double sum = 0;
            for (int l = 0; l < grids.Waves; l++)
            {
                sum += Gram.Dot(path[0, l], grids.Pupil(0, l).Mode(j));
                sum += grids.Shared(l) ? 0 : Gram.Dot(path[1, l], grids.Pupil(1, l).Mode(j));
            }

            modeSums[j] = sum;
        });
    }

    // From one image's intensities to its path at every pupil sample, and from that to its own unknowns.
    private void Backward(int k, int span, FftScratch scratch, double[,] perImage)
    {
        for (int l = 0; l < grids.Waves; l++)
        {
            PupilGrid g = grids.Pupil(k, l);
            Multiply(model.Amplitude(k, l), image.Part(k), (float)(2 * grids.ScaleOf(k, l)), span, amplitude[k]);
            grids.Transform.Pass(amplitude[k].Exchanged, span, -span / 2, middle[k].Exchanged, -g.Size / 2, g.Size, 0, span, scratch);
            grids.Transform.Pass(middle[k].Exchanged, span, -span / 2, field[k, l].Exchanged, -g.Size / 2, g.Size, 0, g.Size, scratch);
            g.PathGradient(model.Field(k, l), field[k, l], path[k, l]);
            perImage[k, 0] = (l == 0 ? 0 : perImage[k, 0]) + Gram.Dot(path[k, l], g.Radius2);
            perImage[k, 1] = (l == 0 ? 0 : perImage[k, 1]) + Gram.Dot(path[k, l], g.X);
            perImage[k, 2] = (l == 0 ? 0 : perImage[k, 2]) + Gram.Dot(path[k, l], g.Y);
        }
    }

    private static void Multiply(in SplitMatrix a, ReadOnlySpan<float> by, float scale, int span, in SplitMatrix to)
    {
        if (Vector512.IsHardwareAccelerated)
        {
            MultiplyLanes<Lanes512>(a, by, scale, span, to);
        }
        else if (Vector256.IsHardwareAccelerated)
        {
            MultiplyLanes<Lanes256>(a, by, scale, span, to);
        }
        else
        {
            MultiplyLanes<Lanes128>(a, by, scale, span, to);
        }
    }

    private static void MultiplyLanes<T>(in SplitMatrix a, ReadOnlySpan<float> by, float scale, int span, in SplitMatrix to)
        where T : struct, ILanes<T>
    {
        int columns = Fft.Padded(span);
        T factor = T.Of(scale);
        for (int j = 0; j < span; j++)
        {
            ref float ar = ref MemoryMarshal.GetReference(a.Re.Slice(j * a.Stride, columns));
            ref float ai = ref MemoryMarshal.GetReference(a.Im.Slice(j * a.Stride, columns));
            ref float gradient = ref MemoryMarshal.GetReference(by.Slice(j * a.Stride, columns));
            ref float tr = ref MemoryMarshal.GetReference(to.Re.Slice(j * to.Stride, columns));
            ref float ti = ref MemoryMarshal.GetReference(to.Im.Slice(j * to.Stride, columns));
            for (int i = 0; i < columns; i += T.Count)
            {
                T g = T.Load(ref gradient, i) * factor;
                T.Store(T.Load(ref ar, i) * g, ref tr, i);
                T.Store(T.Load(ref ai, i) * g, ref ti, i);
            }
        }
    }
}
