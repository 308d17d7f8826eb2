using System.Buffers;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>
/// The pupil as the transform sees it at one wavelength: open samples in runs along rows, each run a whole number of
/// vectors, with the amplitude and the Zernike rows of every sample.
/// </summary>
internal sealed class PupilGrid
{
    private readonly (int Row, int Column, int Offset, int Length)[] runs;
    private readonly float[][] zernike;
    private readonly IReadOnlyList<ZernikeIndex> modes;
    private (float[] X, float[] Y)? rim;
    private int ready;

    /// <summary>Draws the pupil.</summary>
    /// <param name="shape">What passes light.</param>
    /// <param name="modes">Zernike rows to prepare.</param>
    /// <param name="samplesAcross">Samples that the diameter spans, need not be whole.</param>
    /// <param name="wavelengthNm">Wavelength.</param>
    /// <param name="weight">Share of the light, all wavelengths together 1.</param>
    /// <param name="memory">Where the rows come from.</param>
    public PupilGrid(PupilShape shape, IReadOnlyList<ZernikeIndex> modes, double samplesAcross, double wavelengthNm, double weight, MatrixLease memory)
    {
        WavelengthNm = wavelengthNm;
        Size = 2 * ((int)Math.Ceiling(samplesAcross / 2) + 1);
        SamplesAcross = samplesAcross;
        int points = Size * Size;
        double[] rented = ArrayPool<double>.Shared.Rent(points);
        Span<double> open = rented.AsSpan(0, points);
        open.Clear();
        PupilRaster.Draw(shape with { Vanes = [] }, Size, samplesAcross, open);
        VaneShadow.TakeOut(shape.Vanes, Size, samplesAcross, open);
        double power = 0;
        foreach (double a in open)
        {
            power += a * a;
        }

        Scale = weight / power;
        runs = FindRuns(open, Size);
        Length = runs.Length == 0 ? 0 : runs[^1].Offset + runs[^1].Length;
        Amplitude = memory.Floats(Length, clear: false);
        X = memory.Floats(Length, clear: false);
        Y = memory.Floats(Length, clear: false);
        double step = 2 / samplesAcross;
        foreach ((int row, int column, int offset, int length) in runs)
        {
            for (int i = 0; i < length; i++)
            {
                int c = column + i;
                Amplitude[offset + i] = c < Size ? (float)open[(row * Size) + c] : 0;
                X[offset + i] = (float)((c - (Size / 2)) * step);
                Y[offset + i] = (float)((row - (Size / 2)) * step);
            }
        }

        Radius2 = memory.Floats(Length, clear: false);
        for (int p = 0; p < Length; p++)
        {
            Radius2[p] = (X[p] * X[p]) + (Y[p] * Y[p]);
        }

        ArrayPool<double>.Shared.Return(rented);
        this.modes = modes;
        zernike = new float[modes.Count][];
    }

    /// <summary>Wavelength in nm.</summary>
    public double WavelengthNm { get; }

    /// <summary>Rows and columns of the raster; the centre is sample Size/2.</summary>
    public int Size { get; }

    /// <summary>Samples across the diameter.</summary>
    public double SamplesAcross { get; }

    /// <summary>Weight of this wavelength divided by the summed squared amplitude.</summary>
    public double Scale { get; }

    /// <summary>Samples in all runs, padding included.</summary>
    public int Length { get; }

    /// <summary>Share of each sample that is open; beside vanes a little more or less than can be (<see cref="VaneShadow"/>).</summary>
    public float[] Amplitude { get; }

    /// <summary>Pupil x of each sample.</summary>
    public float[] X { get; }

    /// <summary>Pupil y of each sample.</summary>
    public float[] Y { get; }

    /// <summary>x^2 + y^2 of each sample.</summary>
    public float[] Radius2 { get; }

    /// <summary>Fills the rows of the first modes, if that has not been done.</summary>
    public void EnsureModes(int count, Team team, MatrixLease memory)
    {
        if (count <= ready)
        {
            return;
        }

        for (int j = ready; j < count; j++)
        {
            zernike[j] = memory.Floats(Length, clear: false);
        }

        // Fine modes are taken elsewhere beyond the rims, so circle polynomials and they go apart.
        var fit = modes as FitModes;
        var alike = Enumerable.Range(ready, count - ready).GroupBy(j => (Fine: fit is not null && j >= fit.Whole, modes[j].Frequency)).ToArray();
        if (fit is not null && alike.Any(g => g.Key.Fine))
        {
            rim ??= RimValues(fit, memory);
        }

        team.For(alike.Length, (g, _) =>
        {
            ZernikeIndex[] wanted = [.. alike[g].Select(j => modes[j])];
            float[][] rows = [.. alike[g].Select(j => zernike[j])];
            if (alike[g].Key.Fine)
            {
                ZernikeRows.Fill(fit!.Ring, wanted, rows, rim!.Value.X, rim.Value.Y);
            }
            else
            {
                ZernikeRows.Fill(ZernikeRows.Circle, wanted, rows, X, Y);
            }
        });
        ready = count;
    }

    /// <summary>Values of mode j.</summary>
    public float[] Mode(int j) => zernike[j];

    /// <summary>Path difference in nm from the modes, for every sample.</summary>
    public void Path(ReadOnlySpan<double> coefficientsNm, Span<float> path)
    {
        path.Clear();
        for (int j = 0; j < coefficientsNm.Length; j++)
        {
            if (coefficientsNm[j] != 0)
            {
                System.Numerics.Tensors.TensorPrimitives.MultiplyAdd(zernike[j], (float)coefficientsNm[j], path, path);
            }
        }
    }

    /// <summary>
    /// Writes amplitude x exp(-2 pi i W/wavelength), W = path + defocus rho^2 + tilt, into the raster. The sign goes with
    /// the forward transform exp(-i...): a ray from pupil point u lands at -2 N dW/du.
    /// </summary>
    public void Field(ReadOnlySpan<float> path, double defocusNm, double tiltXNm, double tiltYNm, in SplitMatrix field)
    {
        if (Vector512.IsHardwareAccelerated)
        {
            FieldLanes<Lanes512>(path, defocusNm, tiltXNm, tiltYNm, field);
        }
        else if (Vector256.IsHardwareAccelerated)
        {
            FieldLanes<Lanes256>(path, defocusNm, tiltXNm, tiltYNm, field);
        }
        else
        {
            FieldLanes<Lanes128>(path, defocusNm, tiltXNm, tiltYNm, field);
        }
    }

    /// <summary>Writes sixteen columns of -i (2 pi/wavelength) basis x field: the field's derivative by a coefficient of that
    /// basis, per nm.</summary>
    /// <param name="field">From <see cref="Field"/>.</param>
    /// <param name="basis">Values at every sample.</param>
    /// <param name="begin">First of the columns, a multiple of 16.</param>
    /// <param name="strip">Filled: as many rows as the raster, sixteen columns. Zero in rows that hold no run from the start.</param>
    public void FieldDerivative(in SplitMatrix field, float[] basis, int begin, in SplitMatrix strip)
    {
        if (Vector512.IsHardwareAccelerated)
        {
            FieldDerivativeLanes<Lanes512>(field, basis, begin, strip);
        }
        else if (Vector256.IsHardwareAccelerated)
        {
            FieldDerivativeLanes<Lanes256>(field, basis, begin, strip);
        }
        else
        {
            FieldDerivativeLanes<Lanes128>(field, basis, begin, strip);
        }
    }

    /// <summary>
    /// Gradient of a cost by the path at every sample, per nm, from the cost's gradient by the field:
    /// adds (2 pi/wavelength) x (gRe fieldIm - gIm fieldRe).
    /// </summary>
    public void PathGradient(in SplitMatrix field, in SplitMatrix gradient, Span<float> path)
    {
        if (Vector512.IsHardwareAccelerated)
        {
            PathGradientLanes<Lanes512>(field, gradient, path);
        }
        else if (Vector256.IsHardwareAccelerated)
        {
            PathGradientLanes<Lanes256>(field, gradient, path);
        }
        else
        {
            PathGradientLanes<Lanes128>(field, gradient, path);
        }
    }

    private void FieldLanes<T>(ReadOnlySpan<float> path, double defocusNm, double tiltXNm, double tiltYNm, in SplitMatrix field)
        where T : struct, ILanes<T>
    {
        T perWave = T.Of((float)(1 / WavelengthNm));
        T defocus = T.Of((float)defocusNm);
        T tiltX = T.Of((float)tiltXNm);
        T tiltY = T.Of((float)tiltYNm);
        T turn = T.Of(-2 * MathF.PI);
        foreach ((int row, int column, int offset, int length) in runs)
        {
            ref float re = ref First(field.Re.Slice((row * field.Stride) + column, length));
            ref float im = ref First(field.Im.Slice((row * field.Stride) + column, length));
            ref float own = ref First(path.Slice(offset, length));
            ref float radius2 = ref First(Radius2.AsSpan(offset, length));
            ref float x = ref First(X.AsSpan(offset, length));
            ref float y = ref First(Y.AsSpan(offset, length));
            ref float amplitude = ref First(Amplitude.AsSpan(offset, length));
            for (int i = 0; i < length; i += T.Count)
            {
                T w = T.MulAdd(defocus, T.Load(ref radius2, i), T.Load(ref own, i));
                w = T.MulAdd(tiltX, T.Load(ref x, i), w);
                w = T.MulAdd(tiltY, T.Load(ref y, i), w) * perWave;
                (T sin, T cos) = T.SinCos((w - T.Round(w)) * turn);
                T a = T.Load(ref amplitude, i);
                T.Store(a * cos, ref re, i);
                T.Store(a * sin, ref im, i);
            }
        }
    }

    private void FieldDerivativeLanes<T>(in SplitMatrix field, float[] basis, int begin, in SplitMatrix strip)
        where T : struct, ILanes<T>
    {
        T factor = T.Of((float)(2 * Math.PI / WavelengthNm));
        Span<float> re = strip.Re;
        Span<float> im = strip.Im;
        foreach ((int row, int column, int offset, int length) in runs)
        {
            int to = row * Fft.Lanes;
            if (begin < column || begin >= column + length)
            {
                re.Slice(to, Fft.Lanes).Clear();
                im.Slice(to, Fft.Lanes).Clear();
                continue;
            }

            int at = (row * field.Stride) + begin;
            ref float b = ref First(basis.AsSpan(offset + begin - column, Fft.Lanes));
            ref float fieldRe = ref First(field.Re.Slice(at, Fft.Lanes));
            ref float fieldIm = ref First(field.Im.Slice(at, Fft.Lanes));
            ref float toRe = ref First(re.Slice(to, Fft.Lanes));
            ref float toIm = ref First(im.Slice(to, Fft.Lanes));
            for (int i = 0; i < Fft.Lanes; i += T.Count)
            {
                T turned = T.Load(ref b, i) * factor;
                T.Store(turned * T.Load(ref fieldIm, i), ref toRe, i);
                T.Store(-(turned * T.Load(ref fieldRe, i)), ref toIm, i);
            }
        }
    }

    private void PathGradientLanes<T>(in SplitMatrix field, in SplitMatrix gradient, Span<float> path)
        where T : struct, ILanes<T>
    {
        T factor = T.Of((float)(2 * Math.PI / WavelengthNm));
        foreach ((int row, int column, int offset, int length) in runs)
        {
            int at = (row * field.Stride) + column;
            int from = (row * gradient.Stride) + column;
            ref float fieldRe = ref First(field.Re.Slice(at, length));
            ref float fieldIm = ref First(field.Im.Slice(at, length));
            ref float gradientRe = ref First(gradient.Re.Slice(from, length));
            ref float gradientIm = ref First(gradient.Im.Slice(from, length));
            ref float to = ref First(path.Slice(offset, length));
            for (int i = 0; i < length; i += T.Count)
            {
                T g = (T.Load(ref gradientRe, i) * T.Load(ref fieldIm, i)) - (T.Load(ref gradientIm, i) * T.Load(ref fieldRe, i));
                T.Store(g * factor, ref to, i);
            }
        }
    }

    // Where a span begins; its length was checked when it was cut, and is a multiple of sixteen.
    private static ref float First(ReadOnlySpan<float> span) => ref MemoryMarshal.GetReference(span);

    // Where fine modes are taken for each sample: those beyond the rim, and within the hole, at its edge.
    private (float[] X, float[] Y) RimValues(FitModes fine, MatrixLease memory)
    {
        float[] x = memory.Floats(Length, clear: false), y = memory.Floats(Length, clear: false);
        for (int p = 0; p < Length; p++)
        {
            float scale = (float)fine.ToRing(Math.Sqrt(Radius2[p]));
            (x[p], y[p]) = (X[p] * scale, Y[p] * scale);
        }

        return (x, y);
    }

    private static (int Row, int Column, int Offset, int Length)[] FindRuns(ReadOnlySpan<double> open, int size)
    {
        var found = new List<(int, int, int, int)>();
        int offset = 0;
        for (int row = 0; row < size; row++)
        {
            ReadOnlySpan<double> line = open.Slice(row * size, size);
            int first = line.IndexOfAnyExcept(0.0);
            if (first < 0)
            {
                continue;
            }

            int column = first / Fft.Lanes * Fft.Lanes;
            int length = Fft.Padded(line.LastIndexOfAnyExcept(0.0) + 1 - column);
            found.Add((row, column, offset, length));
            offset += length;
        }

        return [.. found];
    }
}
