using System.Buffers;
using System.Numerics.Tensors;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>
/// From the diffraction images of a pair on the fine grid to pixels: seeing, jitter and pixel response multiply the
/// spectrum, which is then folded to the pixels' own Nyquist range, so that undersampled pixels come out exact.
/// </summary>
/// <remarks>The two real images travel as real and imaginary part of one complex image. A kernel that is real keeps them
/// apart; where the two differ in seeing, the parts are told apart by the spectrum's symmetry. The spectrum of a
/// diffraction image ends at the pupil's own width, and seeing may end it before, so nothing beyond <c>cut</c> is computed.</remarks>
internal sealed class BlurStage
{
    private readonly Fft fine;
    private readonly Fft coarse;
    private readonly int oversampling;
    private readonly int window;
    private readonly int cut;
    private readonly int first;
    private readonly int count;
    private readonly float[] steady;
    private readonly float[] turbulence;
    private readonly float[] spread;

    /// <summary>Prepares transforms and tables.</summary>
    /// <param name="size">Fine samples along each axis, a multiple of <paramref name="oversampling"/>.</param>
    /// <param name="oversampling">Fine samples along a pixel.</param>
    /// <param name="window">Pixels along each axis of the images wanted.</param>
    /// <param name="cutCyclesPerPixel">Highest frequency that is wanted of the diffraction image.</param>
    /// <param name="turbulenceLog">-ln of the seeing's transfer for unit strength, at a frequency in cycles per pixel.</param>
    /// <param name="memory">Where the tables come from.</param>
    public BlurStage(int size, int oversampling, int window, double cutCyclesPerPixel, Func<double, double> turbulenceLog, MatrixLease memory)
    {
        Size = size;
        this.oversampling = oversampling;
        this.window = window;
        fine = new Fft(size);
        int folded = size / oversampling;
        coarse = new Fft(folded);
        cut = Math.Min(size / 2, (int)Math.Ceiling(cutCyclesPerPixel * folded) + 1);
        first = -cut;
        count = cut == size / 2 ? size : (2 * cut) + 1;
        steady = NewTable(memory, whole: false);
        turbulence = NewTable(memory, whole: false);
        spread = NewTable(memory, whole: false);
        double[] sinc = [.. Enumerable.Range(0, cut + 1).Select(i => Sinc(i / (double)folded))];

        // Values in pixels: fine samples per pixel squared, and 1/size^2 for the way back.
        double scale = (double)oversampling * oversampling / ((double)size * size);
        for (int j = 0; j <= cut; j++)
        {
            double fy = j / (double)folded;
            for (int i = 0; i <= Math.Min(j, cut); i++)
            {
                double fx = i / (double)folded;
                double f2 = (fx * fx) + (fy * fy);
                float still = (float)(sinc[i] * sinc[j] * scale);
                float log = (float)turbulenceLog(Math.Sqrt(f2));
                float wide = (float)(2 * Math.PI * Math.PI * f2);
                Put(j, i, still, log, wide);
                Put(i, j, still, log, wide);
            }
        }
    }

    /// <summary>Fine samples along each axis.</summary>
    public int Size { get; }

    /// <summary>Rows and columns of a spectrum as this stage keeps it.</summary>
    public int Count => count;

    /// <summary>An empty spectrum of the right size.</summary>
    public SplitMatrix NewSpectrum(MatrixLease memory) => memory.Matrix(count, count, clear: false);

    /// <summary>Transfer table for a blur and a jitter (variance in square pixels).</summary>
    /// <param name="blur">Seeing and trail; a trail needs a table of the whole plane.</param>
    /// <param name="jitter">Variance along each axis, square pixels.</param>
    /// <param name="table">Filled: the half plane of ky at least 0 or all of it, each row from the lowest kx to the highest.</param>
    public void Transfer(ImageBlur blur, double jitter, float[] table)
    {
        if (!IsWhole(table))
        {
            Round(blur.Seeing, jitter, table);
            return;
        }

        int length = (cut + 1) * count;
        double folded = (double)Size / oversampling;
        float[] half = ArrayPool<float>.Shared.Rent(length);
        Round(blur.Seeing, jitter, half.AsSpan(0, length));
        for (int j = 0; j < count; j++)
        {
            Span<float> row = table.AsSpan(j * count, count);
            for (int i = 0; i < count; i++)
            {
                row[i] = -(float)blur.Trail.Log((first + i) / folded, (first + j) / folded);
            }

            TensorPrimitives.Exp(row, row);
            TensorPrimitives.Multiply(row, half.AsSpan(Math.Abs(first + j) * count, count), row);
        }

        ArrayPool<float>.Shared.Return(half);
    }

    private void Round(double strength, double jitter, Span<float> table)
    {
        if (Vector512.IsHardwareAccelerated)
        {
            TransferLanes<Lanes512>(strength, jitter, table);
        }
        else if (Vector256.IsHardwareAccelerated)
        {
            TransferLanes<Lanes256>(strength, jitter, table);
        }
        else
        {
            TransferLanes<Lanes128>(strength, jitter, table);
        }
    }

    /// <summary>A new transfer table, of the half plane or of the whole.</summary>
    public float[] NewTable(MatrixLease memory, bool whole) => memory.Floats((whole ? count : cut + 1) * count, clear: false);

    /// <summary>Multiplies a transfer by minus the seeing's log: its derivative by the strength.</summary>
    public void TransferByStrength(float[] transfer, float[] derivative)
    {
        bool whole = IsWhole(transfer);
        for (int j = 0; j < transfer.Length / count; j++)
        {
            Span<float> to = derivative.AsSpan(j * count, count);
            int ky = whole ? Math.Abs(first + j) : j;
            TensorPrimitives.Multiply(transfer.AsSpan(j * count, count), turbulence.AsSpan(ky * count, count), to);
            TensorPrimitives.Negate(to, to);
        }
    }

    /// <summary>Spectrum of a fine image whose middle is at row and column inputSize/2.</summary>
    public void Spectrum(SplitMatrix image, int inputSize, SplitMatrix middle, SplitMatrix spectrum, Team team)
    {
        team.Pass(fine, image, inputSize, -inputSize / 2, middle, first, count, inputSize);
        team.Pass(fine, middle, inputSize, -inputSize / 2, spectrum, first, count, count);
    }

    /// <summary>
    /// Multiplies by the transfers, folds and goes back: images of window x window pixels in the real part (first image)
    /// and imaginary part (second).
    /// </summary>
    /// <param name="spectrum">From <see cref="Spectrum"/>.</param>
    /// <param name="first0">Transfer of the first image.</param>
    /// <param name="second1">Transfer of the second; may be the same array.</param>
    /// <param name="work">Work space.</param>
    /// <param name="pixels">Result, window square.</param>
    /// <param name="team">Workers.</param>
    public void ToPixels(SplitMatrix spectrum, float[] first0, float[] second1, BlurSpace work, SplitMatrix pixels, Team team)
    {
        int m = Size / oversampling;
        Fold(spectrum, first0, second1, work.Folded, m);
        team.Pass(coarse, work.Folded.Exchanged, m, 0, work.CoarseMiddle.Exchanged, -window / 2, window, m);
        team.Pass(coarse, work.CoarseMiddle.Exchanged, m, 0, pixels.Exchanged, -window / 2, window, window);
    }

    /// <summary>The transpose of <see cref="Spectrum"/> and <see cref="ToPixels"/> together: carries a gradient by the
    /// pixels back to a gradient by the fine image.</summary>
    public void Backward(SplitMatrix pixels, float[] first0, float[] second1, BlurSpace work, SplitMatrix spectrum,
        SplitMatrix middle, SplitMatrix image, int outputSize, Team team)
    {
        int m = Size / oversampling;
        team.Pass(coarse, pixels, window, -window / 2, work.CoarseMiddle, 0, m, window);
        team.Pass(coarse, work.CoarseMiddle, window, -window / 2, work.Folded, 0, m, m);
        Unfold(work.Folded, first0, second1, spectrum, m);
        team.Pass(fine, spectrum.Exchanged, count, first, middle.Exchanged, -outputSize / 2, outputSize, count);
        team.Pass(fine, middle.Exchanged, count, first, image.Exchanged, -outputSize / 2, outputSize, outputSize);
    }

    /// <summary>Work space for one worker.</summary>
    public BlurSpace NewSpace(MatrixLease memory)
    {
        int m = Size / oversampling;
        return new BlurSpace(memory.Matrix(m, m, clear: false), memory.Matrix(Math.Max(m, window), Math.Max(m, window), clear: false));
    }

    // More rows than the half plane has: never equal, since count is at least 2 cut and cut at least 2.
    private bool IsWhole(float[] table) => table.Length > (cut + 1) * count;

    private ReadOnlySpan<float> Row(float[] table, int ky) => table.AsSpan((IsWhole(table) ? ky - first : Math.Abs(ky)) * count, count);

    private static double Sinc(double v) => v == 0 ? 1 : Math.Sin(Math.PI * v) / (Math.PI * v);

    // Symmetric in kx; the highest negative frequency of a whole grid has no partner.
    private void Put(int row, int kx, float still, float log, float wide)
    {
        PutOne(row, kx - first, still, log, wide);
        PutOne(row, -kx - first, still, log, wide);
    }

    private void PutOne(int row, int k, float still, float log, float wide)
    {
        if (k < count)
        {
            int at = (row * count) + k;
            steady[at] = still;
            turbulence[at] = log;
            spread[at] = wide;
        }
    }

    // Pieces of a row over which the folded column runs on without a jump.
    private IEnumerable<(int From, int Column, int Length)> Pieces(int m)
    {
        int i = 0;
        while (i < count)
        {
            int column = (((first + i) % m) + m) % m;
            int length = Math.Min(count - i, m - column);
            yield return (i, column, length);
            i += length;
        }
    }

    private void Fold(in SplitMatrix spectrum, float[] h0, float[] h1, in SplitMatrix folded, int m)
    {
        Span<float> fr = folded.Re;
        Span<float> fi = folded.Im;
        fr.Clear();
        fi.Clear();
        bool same = ReferenceEquals(h0, h1);
        (int From, int Column, int Length)[] pieces = [.. Pieces(m)];
        float[] rented = ArrayPool<float>.Shared.Rent(4 * count);
        Span<float> plus = rented.AsSpan(0, count);
        Span<float> minus = rented.AsSpan(count, count);
        Span<float> cr = rented.AsSpan(2 * count, count);
        Span<float> ci = rented.AsSpan(3 * count, count);
        for (int j = 0; j < count; j++)
        {
            int ky = first + j;
            int row = (((ky % m) + m) % m) * folded.Stride;
            ReadOnlySpan<float> re = spectrum.Re.Slice(j * spectrum.Stride, count);
            ReadOnlySpan<float> im = spectrum.Im.Slice(j * spectrum.Stride, count);
            ReadOnlySpan<float> a = Row(h0, ky);
            if (!same)
            {
                // X = F0 + i F1 with F(-k) = conj F(k): H0 F0 + i H1 F1 = X (H0 + H1)/2 + conj X(-k) (H0 - H1)/2.
                HalfSums(a, Row(h1, ky), plus, minus);
                Mirrored(spectrum, -ky - first, cr, ci);
                TensorPrimitives.Multiply(cr, minus, cr);
                TensorPrimitives.Multiply(ci, minus, ci);
                a = plus;
            }

            foreach ((int from, int column, int length) in pieces)
            {
                Span<float> tr = fr.Slice(row + column, length);
                Span<float> ti = fi.Slice(row + column, length);
                TensorPrimitives.MultiplyAdd(re.Slice(from, length), a.Slice(from, length), tr, tr);
                TensorPrimitives.MultiplyAdd(im.Slice(from, length), a.Slice(from, length), ti, ti);
                if (!same)
                {
                    TensorPrimitives.Add(tr, cr.Slice(from, length), tr);
                    TensorPrimitives.Subtract(ti, ci.Slice(from, length), ti);
                }
            }
        }

        ArrayPool<float>.Shared.Return(rented);
    }

    private void Unfold(in SplitMatrix folded, float[] h0, float[] h1, in SplitMatrix spectrum, int m)
    {
        bool same = ReferenceEquals(h0, h1);
        ReadOnlySpan<float> fr = folded.Re;
        ReadOnlySpan<float> fi = folded.Im;
        (int From, int Column, int Length)[] pieces = [.. Pieces(m)];
        float[] rented = ArrayPool<float>.Shared.Rent(4 * count);
        Span<float> plus = rented.AsSpan(0, count);
        Span<float> minus = rented.AsSpan(count, count);
        Span<float> cr = rented.AsSpan(2 * count, count);
        Span<float> ci = rented.AsSpan(3 * count, count);
        for (int j = 0; j < count; j++)
        {
            int ky = first + j;
            int row = (((ky % m) + m) % m) * folded.Stride;
            Span<float> re = spectrum.Re.Slice(j * spectrum.Stride, count);
            Span<float> im = spectrum.Im.Slice(j * spectrum.Stride, count);
            ReadOnlySpan<float> a = Row(h0, ky);
            if (!same)
            {
                HalfSums(a, Row(h1, ky), plus, minus);
                Wrapped(folded, (((-ky % m) + m) % m) * folded.Stride, m, cr, ci);
                TensorPrimitives.Multiply(cr, minus, cr);
                TensorPrimitives.Multiply(ci, minus, ci);
                a = plus;
            }

            foreach ((int from, int column, int length) in pieces)
            {
                TensorPrimitives.Multiply(fr.Slice(row + column, length), a.Slice(from, length), re.Slice(from, length));
                TensorPrimitives.Multiply(fi.Slice(row + column, length), a.Slice(from, length), im.Slice(from, length));
            }

            if (!same)
            {
                TensorPrimitives.Add(re, cr, re);
                TensorPrimitives.Subtract(im, ci, im);
            }
        }

        ArrayPool<float>.Shared.Return(rented);
    }

    private static void HalfSums(ReadOnlySpan<float> a, ReadOnlySpan<float> b, Span<float> plus, Span<float> minus)
    {
        TensorPrimitives.Add(a, b, plus);
        TensorPrimitives.Multiply(plus, 0.5f, plus);
        TensorPrimitives.Subtract(a, b, minus);
        TensorPrimitives.Multiply(minus, 0.5f, minus);
    }

    // The values at -kx for every kx of a row; zero where there is none.
    private void Mirrored(in SplitMatrix spectrum, int row, Span<float> re, Span<float> im)
    {
        re.Clear();
        im.Clear();
        int alone = count == 2 * cut ? 1 : 0; // the highest negative frequency of a whole grid
        if (row < 0 || row >= count)
        {
            return;
        }

        int at = (row * spectrum.Stride) + alone;
        spectrum.Re.Slice(at, count - alone).CopyTo(re[alone..]);
        spectrum.Im.Slice(at, count - alone).CopyTo(im[alone..]);
        re[alone..].Reverse();
        im[alone..].Reverse();
    }

    // The same from a folded row, which goes round.
    private void Wrapped(in SplitMatrix folded, int row, int m, Span<float> re, Span<float> im)
    {
        int column = -first % m;
        ReadOnlySpan<float> fr = folded.Re.Slice(row, m), fi = folded.Im.Slice(row, m);
        for (int i = 0; i < count;)
        {
            // From this column down to the first, then round.
            int length = Math.Min(column + 1, count - i), begin = column + 1 - length;
            fr.Slice(begin, length).CopyTo(re[i..]);
            fi.Slice(begin, length).CopyTo(im[i..]);
            re.Slice(i, length).Reverse();
            im.Slice(i, length).Reverse();
            i += length;
            column = m - 1;
        }
    }

    private void TransferLanes<T>(double strength, double jitter, Span<float> table)
        where T : struct, ILanes<T>
    {
        T s = T.Of(-(float)strength);
        T v = T.Of(-(float)jitter);
        ref float air = ref MemoryMarshal.GetReference(turbulence.AsSpan(0, table.Length));
        ref float shaken = ref MemoryMarshal.GetReference(spread.AsSpan(0, table.Length));
        ref float rest = ref MemoryMarshal.GetReference(steady.AsSpan(0, table.Length));
        ref float to = ref MemoryMarshal.GetReference(table);
        int k = 0;
        for (; k <= table.Length - T.Count; k += T.Count)
        {
            T log = (s * T.Load(ref air, k)) + (v * T.Load(ref shaken, k));
            T.Store(T.Exp(log) * T.Load(ref rest, k), ref to, k);
        }

        for (; k < table.Length; k++)
        {
            table[k] = steady[k] * MathF.Exp((-(float)strength * turbulence[k]) - ((float)jitter * spread[k]));
        }
    }
}

/// <summary>Work space of a <see cref="BlurStage"/>.</summary>
internal sealed record BlurSpace(SplitMatrix Folded, SplitMatrix CoarseMiddle);
