using System.Numerics;
using MathNet.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>
/// From a pupil to the image of a star as pixels see it: diffraction at each wavelength, long-exposure seeing, drift and the
/// pixel's own width.
/// </summary>
/// <remarks>
/// <para>The wave at pupil point p (unit radius) with error W gives the field sum of exp(2 pi i W / lambda) exp(i pi u p) at u
/// lambda N. A matrix Fourier transform evaluates it on the wanted grid, whatever pixel and focal ratio, so no image
/// is resampled. By the sign of the kernel light lands at -2 N grad W: inside focus (W020 below 0) the pupil
/// stands upright.</para>
/// <para>Blurs are products in frequency space: seeing exp(-D/2) (Fried 1966), drift sinc, jitter exp, pixel sinc sinc. The
/// grid is at least 1.25 times as wide as the stamp, so that what the blur wraps round falls outside. Light that
/// diffraction sends out of the grid is lost from the stamp, as it is from a real one; nothing is renormalised.</para>
/// <para>The fineness of the grid is at least the Nyquist rate of the intensity, lambda N / 2.</para>
/// </remarks>
public static class DiffractionImage
{
    private const double Margin = 1.25;
    private const int LargestGrid = 4096;

    /// <summary>Draws it on one thread (callers draw many at a time).</summary>
    public static DiffractionStamp Draw(DiffractionImageRequest request, CancellationToken cancel = default)
    {
        request.RequireValid();
        double ratio = request.FocalLengthMm / request.ApertureMm;
        double shortest = request.Spectrum.Where(s => s.Weight > 0).Min(s => s.WavelengthNm) / 1000;
        int fineness = Math.Max(1, (int)Math.Ceiling(request.PitchUm / request.Oversampling / (0.5 * shortest * ratio * 0.999)));
        double step = request.PitchUm / (request.Oversampling * fineness);
        int needed = (int)Math.Ceiling(request.Size * request.Oversampling * fineness * Margin);
        int grid = (int)BitOperations.RoundUpToPowerOf2((uint)needed);
        if (grid > LargestGrid)
        {
            throw new InputException("image.too-large",
                $"A stamp of {request.Size} pixels needs a grid of {grid} samples; at most {LargestGrid} are drawn. Ask for a smaller stamp or less " +
                    "oversampling.", "size");
        }

        double total = SpectralSample.RequireValid(request.Spectrum);
        var transform = new SquareTransform(grid);
        double[] sumRe = new double[grid * grid];
        double[] sumIm = new double[grid * grid];
        double[] workRe = new double[grid * grid];
        double[] workIm = new double[grid * grid];
        PupilSamples? pupil = null;
        foreach (SpectralSample sample in request.Spectrum)
        {
            if (sample.Weight == 0)
            {
                continue;
            }

            cancel.ThrowIfCancellationRequested();
            double dz = request.ShiftUm - sample.FocusShiftUm;
            double here = request.FiniteDistance ? ratio * (1 + (dz / 1000 / request.FocalLengthMm)) : ratio;
            double lambdaN = sample.WavelengthNm / 1000 * here;
            double w020Nm = 1000 * dz / (8 * ratio * here);
            int samples = SamplesAcross(request, w020Nm, sample.WavelengthNm, grid * step / lambdaN);
            if (pupil?.Across != samples)
            {
                pupil = PupilSamples.Of(request, samples);
            }

            Diffract(pupil, sample.WavelengthNm, w020Nm, grid, step / lambdaN, workRe, cancel);
            Array.Clear(workIm);
            transform.Forward(workRe, workIm);
            double offsetX = (request.OffsetXPix * request.PitchUm) + sample.OffsetXUm;
            double offsetY = (request.OffsetYPix * request.PitchUm) + sample.OffsetYUm;
            Accumulate(request, sample, total, grid, step, offsetX, offsetY, (workRe, workIm), (sumRe, sumIm));
        }

        transform.Inverse(sumRe, sumIm);
        int side = request.Size * request.Oversampling;
        int origin = (grid / 2) - (request.Size / 2 * request.Oversampling * fineness);
        double[] values = new double[side * side];
        double perPixel = Square(request.PitchUm / step);
        for (int j = 0; j < side; j++)
        {
            int row = (origin + (j * fineness)) * grid;
            for (int i = 0; i < side; i++)
            {
                values[(j * side) + i] = sumRe[row + origin + (i * fineness)] * perPixel;
            }
        }

        return new DiffractionStamp(values, request.Size, request.Oversampling);
    }

    /// <summary>
    /// Pupil samples across: enough that the copies of the blur disc, n lambda N apart, stay off the grid, and four
    /// across each ring of the phase at the edge.
    /// </summary>
    private static int SamplesAcross(DiffractionImageRequest request, double w020Nm, double wavelengthNm, double gridLambdaN)
    {
        double waves = Math.Abs(w020Nm);
        for (int k = 0; k < request.Modes.Count; k++)
        {
            // PV of a mode is at most about 2 sqrt(2(n+1)); the steepest slope at the edge grows with n as well.
            waves += Math.Abs(request.CoefficientsNm[k]) * (request.Modes[k].N < 2 ? 0.5 : 2.5 * request.Modes[k].N / 2);
        }

        double radius = 4 * waves / wavelengthNm;
        double wanted = Math.Max(request.PupilSamples, Math.Max(1.1 * ((gridLambdaN / 2) + radius), 6 * radius));
        return Math.Min(1024, 2 * (int)Math.Ceiling(wanted / 2));
    }

    /// <summary>Intensity on the grid, normalised so that all light of the pupil is 1 over the whole plane.</summary>
    private static void Diffract(
        PupilSamples pupil, double wavelengthNm, double w020Nm, int grid, double stepLambdaN, double[] intensity, CancellationToken cancel)
    {
        int n = pupil.Side;
        double unit = 2.0 / pupil.Across;
        double[] re = new double[n * n];
        double[] im = new double[n * n];
        double area = 0;
        double k = 2 * Math.PI / wavelengthNm;
        for (int j = 0; j < n; j++)
        {
            double y = (j - (n / 2)) * unit;
            for (int i = 0; i < n; i++)
            {
                int at = (j * n) + i;
                double t = pupil.Open[at];
                if (t == 0)
                {
                    continue;
                }

                double x = (i - (n / 2)) * unit;
                (double sin, double cos) = Math.SinCos(k * ((w020Nm * ((x * x) + (y * y))) + pupil.WavefrontNm[at]));
                re[at] = t * cos;
                im[at] = t * sin;
                area += t;
            }
        }

        (double[] kernelRe, double[] kernelIm) = Kernel(n, unit, grid, stepLambdaN);

        // Field rows over x, then over y. |field|^2 over all u sums to 4 area / unit^2 in these units (Parseval).
        double[] rowRe = new double[n * grid];
        double[] rowIm = new double[n * grid];
        for (int j = 0; j < n; j++)
        {
            Span<double> toRe = rowRe.AsSpan(j * grid, grid);
            Span<double> toIm = rowIm.AsSpan(j * grid, grid);
            for (int i = 0; i < n; i++)
            {
                double fr = re[(j * n) + i];
                double fi = im[(j * n) + i];
                if (fr != 0 || fi != 0)
                {
                    AddProduct(toRe, toIm, fr, fi, kernelRe.AsSpan(i * grid, grid), kernelIm.AsSpan(i * grid, grid));
                }
            }
        }

        double scale = Square(stepLambdaN) * unit * unit / (4 * area);
        double[] fieldRe = new double[grid];
        double[] fieldIm = new double[grid];
        for (int v = 0; v < grid; v++)
        {
            if ((v & 63) == 0)
            {
                cancel.ThrowIfCancellationRequested();
            }

            Array.Clear(fieldRe);
            Array.Clear(fieldIm);
            for (int j = 0; j < n; j++)
            {
                AddProduct(fieldRe, fieldIm, kernelRe[(j * grid) + v], kernelIm[(j * grid) + v], rowRe.AsSpan(j * grid, grid), rowIm.AsSpan(j * grid, grid));
            }

            for (int u = 0; u < grid; u++)
            {
                intensity[(v * grid) + u] = scale * ((fieldRe[u] * fieldRe[u]) + (fieldIm[u] * fieldIm[u]));
            }
        }
    }

    private static (double[] Re, double[] Im) Kernel(int n, double unit, int grid, double stepLambdaN)
    {
        double[] re = new double[n * grid];
        double[] im = new double[n * grid];
        for (int i = 0; i < n; i++)
        {
            double x = (i - (n / 2)) * unit;
            for (int u = 0; u < grid; u++)
            {
                (double sin, double cos) = Math.SinCos(Math.PI * x * (u - (grid / 2)) * stepLambdaN);
                re[(i * grid) + u] = cos;
                im[(i * grid) + u] = sin;
            }
        }

        return (re, im);
    }

    /// <summary>to += factor x from, complex, element by element.</summary>
    private static void AddProduct(Span<double> toRe, Span<double> toIm, double factorRe, double factorIm, ReadOnlySpan<double> fromRe,
        ReadOnlySpan<double> fromIm)
    {
        int width = Vector<double>.Count;
        int u = 0;
        var fr = new Vector<double>(factorRe);
        var fi = new Vector<double>(factorIm);
        for (; u <= toRe.Length - width; u += width)
        {
            var kr = new Vector<double>(fromRe[u..]);
            var ki = new Vector<double>(fromIm[u..]);
            (new Vector<double>(toRe[u..]) + (fr * kr) - (fi * ki)).CopyTo(toRe[u..]);
            (new Vector<double>(toIm[u..]) + (fr * ki) + (fi * kr)).CopyTo(toIm[u..]);
        }

        for (; u < toRe.Length; u++)
        {
            toRe[u] = toRe[u] + (factorRe * fromRe[u]) - (factorIm * fromIm[u]);
            toIm[u] = toIm[u] + (factorRe * fromIm[u]) + (factorIm * fromRe[u]);
        }
    }

    /// <summary>Adds one wavelength's spectrum, blurred and moved to its place.</summary>
    private static void Accumulate(
        DiffractionImageRequest request, SpectralSample sample, double total, int grid, double step, double offsetX, double offsetY,
        (double[] Re, double[] Im) from, (double[] Re, double[] Im) to)
    {
        double weight = sample.Weight / total;
        double seeing = request.SeeingFwhmArcsec > 0
            ? Seeing.ScaleR0(Seeing.R0FromFwhm(request.SeeingFwhmArcsec, request.SeeingWavelengthNm), request.SeeingWavelengthNm, sample.WavelengthNm)
            : double.PositiveInfinity;

        // A frequency f (cycles / um) belongs to points lambda f F apart in the pupil.
        double separation = sample.WavelengthNm * 1e-9 * request.FocalLengthMm * 1000;
        double pixel = request.IntegratePixels ? request.PitchUm : 0;
        double jitter = -2 * Square(Math.PI * request.JitterUm);
        double perSample = 1 / (grid * step);
        int half = grid / 2;

        // What depends on |f| alone is the same in eight sectors.
        double[] round = new double[(half + 1) * (half + 1)];
        for (int v = 0; v <= half; v++)
        {
            for (int u = 0; u <= v; u++)
            {
                double f2 = ((u * (double)u) + (v * (double)v)) * perSample * perSample;
                double factor = double.IsFinite(seeing) ? Seeing.Mtf(separation * Math.Sqrt(f2), seeing) : 1;
                factor *= jitter == 0 ? 1 : Math.Exp(jitter * f2);
                round[(v * (half + 1)) + u] = factor;
                round[(u * (half + 1)) + v] = factor;
            }
        }

        // Pixel and place come apart into a factor for each axis.
        Complex[] alongX = AxisFactors(grid, perSample, pixel, offsetX);
        Complex[] alongY = AxisFactors(grid, perSample, pixel, offsetY);
        bool drifts = request.DriftXUm != 0 || request.DriftYUm != 0;

        // The spectrum lies transposed: x frequency by rows.
        for (int u = 0; u < grid; u++)
        {
            int au = u <= half ? u : grid - u;
            Complex column = alongX[u] * weight;
            for (int v = 0; v < grid; v++)
            {
                int av = v <= half ? v : grid - v;
                double factor = round[(au * (half + 1)) + av];
                if (drifts)
                {
                    double fx = (u < half ? u : u - grid) * perSample;
                    double fy = (v < half ? v : v - grid) * perSample;
                    factor *= Trig.Sinc((fx * request.DriftXUm) + (fy * request.DriftYUm));
                }

                int at = (u * grid) + v;
                Complex blur = column * alongY[v] * factor;
                to.Re[at] += (from.Re[at] * blur.Real) - (from.Im[at] * blur.Imaginary);
                to.Im[at] += (from.Re[at] * blur.Imaginary) + (from.Im[at] * blur.Real);
            }
        }
    }

    private static Complex[] AxisFactors(int grid, double perSample, double pixelUm, double offsetUm)
    {
        var factors = new Complex[grid];
        for (int u = 0; u < grid; u++)
        {
            double f = (u < grid / 2 ? u : u - grid) * perSample;
            factors[u] = Trig.Sinc(f * pixelUm) * Complex.FromPolarCoordinates(1, -2 * Math.PI * f * offsetUm);
        }

        return factors;
    }

    private static double Square(double x) => x * x;

    /// <summary>The pupil on its grid: share of each sample that is open, and the wavefront there without the sensor's defocus.</summary>
    private sealed record PupilSamples(int Across, int Side, double[] Open, double[] WavefrontNm)
    {
        public static PupilSamples Of(DiffractionImageRequest request, int across)
        {
            // Two samples more than the diameter, with the centre on a sample: the edge cells are all there.
            int n = across + 2;
            double[] open = PupilRaster.Draw(request.Pupil, n, across);
            int[] used = [.. Enumerable.Range(0, request.Modes.Count).Where(k => request.CoefficientsNm[k] != 0)];
            ZernikeIndex[] modes = [.. used.Select(k => request.Modes[k])];
            double[] coefficients = [.. used.Select(k => request.CoefficientsNm[k])];
            double[] wavefront = new double[n * n];
            for (int at = 0; modes.Length > 0 && at < wavefront.Length; at++)
            {
                if (open[at] > 0)
                {
                    double x = ((at % n) - (n / 2)) * 2.0 / across;
                    double y = ((at / n) - (n / 2)) * 2.0 / across;
                    wavefront[at] = Zernike.Sum(modes, coefficients, x, y);
                }
            }

            return new PupilSamples(across, n, open, wavefront);
        }
    }
}
