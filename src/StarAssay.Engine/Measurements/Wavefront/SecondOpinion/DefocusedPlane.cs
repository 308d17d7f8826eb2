using System.Numerics.Tensors;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.Wavefront.SecondOpinion;

/// <summary>
/// The diffraction image of a pupil on one defocused plane, by a matrix Fourier transform in double precision with
/// one sample for each wavelength times focal ratio. The image's spectrum ends there, so sums of it against smooth
/// functions are exact although its fringes are not resolved.
/// </summary>
internal sealed class DefocusedPlane
{
    private readonly int n;
    private readonly double[] coverage;
    private readonly double[][] modes;
    private readonly double[] defocusWaves;
    private readonly double wavelengthNm;
    private readonly double[] kernelRe;
    private readonly double[] kernelIm;

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

        double[] table = Zernike.Table(indices, x, y);
        modes = [.. Enumerable.Range(0, indices.Count).Select(k => table[(k * n * n)..((k + 1) * n * n)])];
        kernelRe = new double[n * Size];
        kernelIm = new double[n * Size];
        for (int j = 0; j < n; j++)
        {
            for (int k = 0; k < Size; k++)
            {
                (double s, double c) = Math.SinCos(-Math.PI * rho[j] * (k - ((Size - 1) / 2.0)));
                kernelRe[(j * Size) + k] = c;
                kernelIm[(j * Size) + k] = s;
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
        double[] waves = (double[])defocusWaves.Clone();
        for (int k = 0; k < modes.Length; k++)
        {
            if (coefficientNm[k] != 0)
            {
                TensorPrimitives.MultiplyAdd(modes[k], coefficientNm[k] / wavelengthNm, waves, waves);
            }
        }

        double[] rowRe = new double[n * Size];
        double[] rowIm = new double[n * Size];
        for (int y = 0; y < n; y++)
        {
            Span<double> re = rowRe.AsSpan(y * Size, Size);
            Span<double> im = rowIm.AsSpan(y * Size, Size);
            for (int x = 0; x < n; x++)
            {
                double open = coverage[(y * n) + x];
                if (open > 0)
                {
                    (double s, double c) = Math.SinCos(-2 * Math.PI * waves[(y * n) + x]);
                    Accumulate(kernelRe.AsSpan(x * Size, Size), kernelIm.AsSpan(x * Size, Size), open * c, open * s, re, im);
                }
            }
        }

        float[] image = new float[Size * Size];
        double[] sumRe = new double[Size];
        double[] sumIm = new double[Size];
        for (int row = 0; row < Size; row++)
        {
            Array.Clear(sumRe);
            Array.Clear(sumIm);
            for (int y = 0; y < n; y++)
            {
                Accumulate(rowRe.AsSpan(y * Size, Size), rowIm.AsSpan(y * Size, Size), kernelRe[(y * Size) + row], kernelIm[(y * Size) + row], sumRe, sumIm);
            }

            for (int k = 0; k < Size; k++)
            {
                image[(row * Size) + k] = (float)((sumRe[k] * sumRe[k]) + (sumIm[k] * sumIm[k]));
            }
        }

        return image;
    }

    // sum += (a + ib)(c + is) for a whole row.
    private static void Accumulate(ReadOnlySpan<double> a, ReadOnlySpan<double> b, double c, double s, Span<double> re, Span<double> im)
    {
        TensorPrimitives.MultiplyAdd(a, c, re, re);
        TensorPrimitives.MultiplyAdd(b, -s, re, re);
        TensorPrimitives.MultiplyAdd(b, c, im, im);
        TensorPrimitives.MultiplyAdd(a, s, im, im);
    }
}
