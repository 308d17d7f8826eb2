using System.Buffers;
using System.Numerics;
using System.Numerics.Tensors;
using System.Runtime.InteropServices;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.Wavefront.SecondOpinion;

/// <summary>
/// The diffraction image of a pupil on one defocused plane, by a matrix Fourier transform in double precision with
/// one sample for each wavelength times focal ratio. The image's spectrum ends there, so sums of it against smooth
/// functions are exact although its fringes are not resolved.
/// </summary>
/// <remarks>Samples of pupil and plane lie evenly about their middles, so what two opposite pupil samples give two opposite image samples
/// follows from their sum times a cosine and their difference times a sine: a quarter of the products.</remarks>
internal sealed class DefocusedPlane
{
    private static readonly int Lanes = Vector<double>.Count;

    private readonly int n;
    private readonly double[] coverage;
    private readonly double[][] modes;
    private readonly double[] defocusWaves;
    private readonly double wavelengthNm;

    // Rows: distance of a pupil sample from the middle; columns: distance of an image sample from the middle, whole registers.
    private readonly int distances;
    private readonly int half;
    private readonly double[] cosines;
    private readonly double[] sines;

    /// <summary>Prepares the plane.</summary>
    public DefocusedPlane(TransportRequest request, IReadOnlyList<ZernikeIndex> indices, double defocusUm)
    {
        double stretch = 1 + (defocusUm * 1e-3 / request.FocalLengthMm);
        double lambdaNUm = request.WavelengthNm * 1e-3 * request.FocalRatio * stretch;
        wavelengthNm = request.WavelengthNm;
        Radius = Math.Abs(defocusUm) / (2 * request.FocalRatio) / lambdaNUm;
        Size = 2 * (int)Math.Ceiling(Radius * (MomentBasis.Reach + 0.1));

        // Samples across the pupil: enough that images do not repeat inside the reach.
        int across = 2 * (int)Math.Ceiling((Radius * (MomentBasis.Reach + 0.2)) + 12);
        n = across + 2;
        coverage = PupilRaster.Draw(request.Pupil, n, across);
        double[] rho = [.. Enumerable.Range(0, n).Select(j => (j - (n / 2)) * 2.0 / across)];
        double[] x = new double[n * n];
        double[] y = new double[n * n];
        defocusWaves = new double[n * n];
        double rim = defocusUm / (8 * request.FocalRatio * request.FocalRatio * stretch) / (wavelengthNm * 1e-3);
        for (int p = 0; p < x.Length; p++)
        {
            x[p] = rho[p % n];
            y[p] = rho[p / n];
            defocusWaves[p] = rim * ((x[p] * x[p]) + (y[p] * y[p]));
        }

        if (request.KnownNm is { } known)
        {
            for (int p = 0; p < x.Length; p++)
            {
                defocusWaves[p] += coverage[p] > 0 ? known(x[p], y[p]) / wavelengthNm : 0;
            }
        }

        modes = [.. indices.Select(index => ModeOf(index, x, y))];
        distances = (n / 2) + 1;
        half = ((Size / 2) + (2 * Lanes) - 1) / (2 * Lanes) * 2 * Lanes;
        cosines = new double[distances * half];
        sines = new double[distances * half];
        for (int d = 0; d < distances; d++)
        {
            for (int q = 0; q < half; q++)
            {
                (sines[(d * half) + q], cosines[(d * half) + q]) = Math.SinCos(Math.PI * d * 2.0 / across * (q + 0.5));
            }
        }
    }

    /// <summary>Disc radius in samples.</summary>
    public double Radius { get; }

    /// <summary>Samples along each side.</summary>
    public int Size { get; }

    /// <summary>Intensity for a wavefront, in arbitrary units.</summary>
    public float[] Image(ReadOnlySpan<double> coefficientNm)
    {
        int points = n * n, columns = 2 * half, block = distances * columns;
        double[] rented = ArrayPool<double>.Shared.Rent((3 * points) + (4 * block) + (8 * distances) + (4 * columns));
        Span<double> space = rented;
        Span<double> waves = space[..points], re = space.Slice(points, points), im = space.Slice(2 * points, points);
        Span<double> sums = space.Slice(3 * points, 4 * block), pairs = space.Slice((3 * points) + (4 * block), 4 * distances);
        Span<double> line = space.Slice((3 * points) + (4 * block) + (4 * distances), 4 * columns);
        defocusWaves.CopyTo(waves);
        for (int k = 0; k < modes.Length; k++)
        {
            if (coefficientNm[k] != 0)
            {
                TensorPrimitives.MultiplyAdd(modes[k], coefficientNm[k] / wavelengthNm, waves, waves);
            }
        }

        TensorPrimitives.Multiply(waves, -2 * Math.PI, waves);
        TensorPrimitives.SinCos(waves, im, re);
        TensorPrimitives.Multiply(re, coverage, re);
        TensorPrimitives.Multiply(im, coverage, im);

        // Along x; then opposite rows to their sum and difference: four parts, each distances x columns.
        sums.Clear();
        for (int y = 0; y < n; y++)
        {
            ReadOnlySpan<double> open = coverage.AsSpan(y * n, n);
            if (open.IndexOfAnyExcept(0.0) < 0)
            {
                continue;
            }

            Pair(re.Slice(y * n, n), im.Slice(y * n, n), pairs);
            AlongX(pairs, line);
            int d = Math.Abs(y - (n / 2)), at = d * columns;
            double sign = y >= n / 2 ? 1 : -1;
            TensorPrimitives.Add(sums.Slice(at, columns), line[..columns], sums.Slice(at, columns));
            TensorPrimitives.Add(sums.Slice(block + at, columns), line.Slice(columns, columns), sums.Slice(block + at, columns));
            TensorPrimitives.MultiplyAdd(line[..columns], sign, sums.Slice((2 * block) + at, columns), sums.Slice((2 * block) + at, columns));
            TensorPrimitives.MultiplyAdd(line.Slice(columns, columns), sign, sums.Slice((3 * block) + at, columns), sums.Slice((3 * block) + at, columns));
        }

        float[] image = new float[Size * Size];
        for (int q = 0; q < Size / 2; q++)
        {
            AlongY(q, sums, line);
            Store(line[..columns], image.AsSpan(((Size / 2) + q) * Size, Size));
            Store(line.Slice(columns, columns), image.AsSpan(((Size / 2) - 1 - q) * Size, Size));
        }

        ArrayPool<double>.Shared.Return(rented);
        return image;
    }

    // Where no light passes the wavefront does not matter.
    private double[] ModeOf(ZernikeIndex index, double[] x, double[] y)
    {
        double[] row = new double[x.Length];
        for (int p = 0; p < row.Length; p++)
        {
            row[p] = coverage[p] > 0 ? Zernike.Evaluate(index, x[p], y[p]) : 0;
        }

        return row;
    }

    // Sum and difference of opposite samples of a row, by distance from the middle: re and im of the sum, re and im of the difference.
    private void Pair(ReadOnlySpan<double> re, ReadOnlySpan<double> im, Span<double> pairs)
    {
        int middle = n / 2;
        for (int d = 0; d < distances; d++)
        {
            (double ar, double ai) = d < middle ? (re[middle + d], im[middle + d]) : (0, 0);
            (double br, double bi) = d > 0 ? (re[middle - d], im[middle - d]) : (0, 0);
            (pairs[4 * d], pairs[(4 * d) + 1], pairs[(4 * d) + 2], pairs[(4 * d) + 3]) = (ar + br, ai + bi, ar - br, ai - bi);
        }
    }

    // One row: re and im, each the samples right of the middle, then those left of it, outwards.
    private void AlongX(ReadOnlySpan<double> pairs, Span<double> line)
    {
        ref double cos = ref MemoryMarshal.GetArrayDataReference(cosines);
        ref double sin = ref MemoryMarshal.GetArrayDataReference(sines);
        ref double right = ref MemoryMarshal.GetReference(line);
        for (int q = 0; q < half; q += 2 * Lanes)
        {
            Vector<double> er = default, ei = default, sr = default, si = default, er2 = default, ei2 = default, sr2 = default, si2 = default;
            for (int d = 0; d < distances; d++)
            {
                nuint at = (nuint)((d * half) + q);
                Vector<double> c = Vector.LoadUnsafe(ref cos, at), c2 = Vector.LoadUnsafe(ref cos, at + (nuint)Lanes);
                Vector<double> s = Vector.LoadUnsafe(ref sin, at), s2 = Vector.LoadUnsafe(ref sin, at + (nuint)Lanes);
                var a = new Vector<double>(pairs[4 * d]);
                var b = new Vector<double>(pairs[(4 * d) + 1]);
                (er, er2) = (er + (a * c), er2 + (a * c2));
                (ei, ei2) = (ei + (b * c), ei2 + (b * c2));
                a = new Vector<double>(pairs[(4 * d) + 2]);
                b = new Vector<double>(pairs[(4 * d) + 3]);
                (sr, sr2) = (sr + (a * s), sr2 + (a * s2));
                (si, si2) = (si + (b * s), si2 + (b * s2));
            }

            nuint to = (nuint)q, columns = (nuint)(2 * half), left = (nuint)half, next = (nuint)Lanes;
            (er + si).StoreUnsafe(ref right, to);
            (er2 + si2).StoreUnsafe(ref right, to + next);
            (er - si).StoreUnsafe(ref right, to + left);
            (er2 - si2).StoreUnsafe(ref right, to + left + next);
            (ei - sr).StoreUnsafe(ref right, to + columns);
            (ei2 - sr2).StoreUnsafe(ref right, to + columns + next);
            (ei + sr).StoreUnsafe(ref right, to + columns + left);
            (ei2 + sr2).StoreUnsafe(ref right, to + columns + left + next);
        }
    }

    // Intensity of the row q samples above the middle, then of the one as far below it.
    private void AlongY(int q, ReadOnlySpan<double> sums, Span<double> line)
    {
        int columns = 2 * half;
        nuint block = (nuint)(distances * columns);
        ref double from = ref MemoryMarshal.GetReference(sums);
        ref double to = ref MemoryMarshal.GetReference(line);
        for (int k = 0; k < columns; k += Lanes)
        {
            Vector<double> er = default, ei = default, sr = default, si = default;
            for (int d = 0; d < distances; d++)
            {
                var c = new Vector<double>(cosines[(d * half) + q]);
                var s = new Vector<double>(sines[(d * half) + q]);
                nuint at = (nuint)((d * columns) + k);
                er += c * Vector.LoadUnsafe(ref from, at);
                ei += c * Vector.LoadUnsafe(ref from, at + block);
                sr += s * Vector.LoadUnsafe(ref from, at + (2 * block));
                si += s * Vector.LoadUnsafe(ref from, at + (3 * block));
            }

            Vector<double> a = er + si, b = ei - sr;
            ((a * a) + (b * b)).StoreUnsafe(ref to, (nuint)k);
            (a, b) = (er - si, ei + sr);
            ((a * a) + (b * b)).StoreUnsafe(ref to, (nuint)(k + columns));
        }
    }

    private void Store(ReadOnlySpan<double> line, Span<float> row)
    {
        int middle = Size / 2;
        for (int q = 0; q < middle; q++)
        {
            row[middle + q] = (float)line[q];
            row[middle - 1 - q] = (float)line[half + q];
        }
    }
}
