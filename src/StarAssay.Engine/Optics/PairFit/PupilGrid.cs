using System.Buffers;
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
        PupilRaster.Draw(shape, Size, samplesAcross, open);
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

    /// <summary>Share of each sample that is open.</summary>
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
        int begin = ready;
        if (count > begin)
        {
            team.For(count - begin, (k, _) => zernike[begin + k] = Fill(begin + k, memory.Floats(Length, clear: false)));
            ready = count;
        }
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
        var perWave = Vector512.Create((float)(1 / WavelengthNm));
        var defocus = Vector512.Create((float)defocusNm);
        var tiltX = Vector512.Create((float)tiltXNm);
        var tiltY = Vector512.Create((float)tiltYNm);
        var turn = Vector512.Create(-2 * MathF.PI);
        foreach ((int row, int column, int offset, int length) in runs)
        {
            Span<float> re = field.Re.Slice((row * field.Stride) + column, length);
            Span<float> im = field.Im.Slice((row * field.Stride) + column, length);
            for (int i = 0; i < length; i += Fft.Lanes)
            {
                int p = offset + i;
                Vector512<float> w = Vector512.Create(path.Slice(p, Fft.Lanes));
                w = Vector512.FusedMultiplyAdd(defocus, Vector512.Create(Radius2.AsSpan(p, Fft.Lanes)), w);
                w = Vector512.FusedMultiplyAdd(tiltX, Vector512.Create(X.AsSpan(p, Fft.Lanes)), w);
                w = Vector512.FusedMultiplyAdd(tiltY, Vector512.Create(Y.AsSpan(p, Fft.Lanes)), w) * perWave;
                (Vector512<float> sin, Vector512<float> cos) = Vector512.SinCos((w - Vector512.Round(w)) * turn);
                Vector512<float> a = Vector512.Create(Amplitude.AsSpan(p, Fft.Lanes));
                (a * cos).CopyTo(re[i..]);
                (a * sin).CopyTo(im[i..]);
            }
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
        var factor = Vector512.Create((float)(2 * Math.PI / WavelengthNm));
        Span<float> re = strip.Re;
        Span<float> im = strip.Im;
        foreach ((int row, int column, int offset, int length) in runs)
        {
            int to = row * Fft.Lanes;
            if (begin < column || begin >= column + length)
            {
                Vector512<float>.Zero.CopyTo(re[to..]);
                Vector512<float>.Zero.CopyTo(im[to..]);
                continue;
            }

            int at = (row * field.Stride) + begin;
            Vector512<float> b = Vector512.Create(basis.AsSpan(offset + begin - column, Fft.Lanes)) * factor;
            (b * Vector512.Create(field.Im.Slice(at, Fft.Lanes))).CopyTo(re[to..]);
            (-(b * Vector512.Create(field.Re.Slice(at, Fft.Lanes)))).CopyTo(im[to..]);
        }
    }

    /// <summary>
    /// Gradient of a cost by the path at every sample, per nm, from the cost's gradient by the field:
    /// adds (2 pi/wavelength) x (gRe fieldIm - gIm fieldRe).
    /// </summary>
    public void PathGradient(in SplitMatrix field, in SplitMatrix gradient, Span<float> path)
    {
        var factor = Vector512.Create((float)(2 * Math.PI / WavelengthNm));
        foreach ((int row, int column, int offset, int length) in runs)
        {
            int at = (row * field.Stride) + column;
            int from = (row * gradient.Stride) + column;
            for (int i = 0; i < length; i += Fft.Lanes)
            {
                Vector512<float> g = (Vector512.Create(gradient.Re.Slice(from + i, Fft.Lanes)) * Vector512.Create(field.Im.Slice(at + i, Fft.Lanes)))
                    - (Vector512.Create(gradient.Im.Slice(from + i, Fft.Lanes)) * Vector512.Create(field.Re.Slice(at + i, Fft.Lanes)));
                (g * factor).CopyTo(path[(offset + i)..]);
            }
        }
    }

    private float[] Fill(int index, float[] row)
    {
        if (modes is not FitModes fine || index < fine.Whole)
        {
            return ZernikeRows.Fill(modes[index], X, Y, row);
        }

        for (int p = 0; p < row.Length; p++)
        {
            row[p] = Amplitude[p] == 0 ? 0 : (float)fine.Evaluate(index, X[p], Y[p]);
        }

        return row;
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
