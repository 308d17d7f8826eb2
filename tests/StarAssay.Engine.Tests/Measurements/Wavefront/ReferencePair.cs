using System.Numerics;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Tests.Measurements.Wavefront;

/// <summary>
/// A pair of images in double precision by plain sums: pupil to optical transfer function by autocorrelation, times seeing
/// and pixel, and back as a Fourier series. No Fourier transform, no grid and no formula of the fit's model is shared.
/// </summary>
internal static class ReferencePair
{
    /// <summary>Image k of unit light, from so many samples across the pupil.</summary>
    public static double[,] Image(PairOptics o, ZernikeIndex[] modes, PairState s, int k, int across = 128)
    {
        double[,] sum = new double[o.Window, o.Window];
        for (int l = 0; l < o.WavelengthsNm.Length; l++)
        {
            Add(o, modes, s, k, across, o.WavelengthsNm[l], o.Weights[l], sum);
        }

        return sum;
    }

    // Pupil points u = 2 a/across give image frequencies (u - u')/(2 lambda N): a series whose period is far wider than the window.
    private static void Add(PairOptics o, ZernikeIndex[] modes, PairState s, int k, int across, double wavelength, double weight, double[,] sum)
    {
        int side = across + 2;
        double[] open = PupilRaster.Draw(o.Shape, side, across);
        var field = new Complex[side, side];
        double power = 0;
        for (int j = 0; j < side; j++)
        {
            for (int i = 0; i < side; i++)
            {
                double a = open[(j * side) + i];
                if (a == 0)
                {
                    continue;
                }

                double x = (i - (side / 2)) * 2.0 / across;
                double y = (j - (side / 2)) * 2.0 / across;
                double path = Zernike.Sum(modes, s.CoefficientsNm, x, y) + (s.DefocusNm[k] * ((x * x) + (y * y)))
                    + (s.TiltXNm[k] * x) + (s.TiltYNm[k] * y);
                field[j, i] = Complex.FromPolarCoordinates(a, 2 * Math.PI * path / wavelength);
                power += a * a;
            }
        }

        // Rows of partial autocorrelations would still be across^4; instead the amplitude is summed at fine points of the
        // image and its square at the points of a period, which is the same series.
        int half = side - 1;
        int period = (2 * half) + 1;
        double[,] intensity = Intensity(field, side, period);
        double stepUm = 2 * wavelength * 1e-3 * o.FocalRatio * o.Stretch[k] * across / 2 / period;
        Transform(o, intensity, period, half, stepUm, o.Stretch[k], s.Seeing[k], weight / power, sum);
    }

    private static double[,] Intensity(Complex[,] field, int side, int period)
    {
        var kernel = new Complex[period, side];
        for (int m = 0; m < period; m++)
        {
            for (int i = 0; i < side; i++)
            {
                // A ray from u lands where the path's slope cancels this phase: kernel exp(+i ...), field exp(+i ...).
                kernel[m, i] = Complex.FromPolarCoordinates(1, 2 * Math.PI * (m - (period / 2)) * (i - (side / 2)) / (double)period);
            }
        }

        var rows = new Complex[side, period];
        for (int j = 0; j < side; j++)
        {
            for (int m = 0; m < period; m++)
            {
                Complex total = 0;
                for (int i = 0; i < side; i++)
                {
                    total += field[j, i] * kernel[m, i];
                }

                rows[j, m] = total;
            }
        }

        double[,] intensity = new double[period, period];
        for (int l = 0; l < period; l++)
        {
            for (int m = 0; m < period; m++)
            {
                Complex total = 0;
                for (int j = 0; j < side; j++)
                {
                    total += rows[j, m] * kernel[l, j];
                }

                intensity[l, m] = (total.Real * total.Real) + (total.Imaginary * total.Imaginary);
            }
        }

        return intensity;
    }

    private static void Transform(PairOptics o, double[,] intensity, int period, int half, double stepUm, double stretch, double strength, double scale,
        double[,] sum)
    {
        int window = o.Window;
        var forward = new Complex[(2 * half) + 1, period];
        var backward = new Complex[window, (2 * half) + 1];
        for (int q = -half; q <= half; q++)
        {
            for (int m = 0; m < period; m++)
            {
                forward[q + half, m] = Complex.FromPolarCoordinates(1, -2 * Math.PI * q * (m - (period / 2)) / (double)period);
            }

            for (int x = 0; x < window; x++)
            {
                double um = (x - (window / 2)) * o.PitchUm;
                backward[x, q + half] = Complex.FromPolarCoordinates(1, 2 * Math.PI * q * um / (period * stepUm));
            }
        }

        Complex[,] spectrum = Sandwich(forward, intensity);
        for (int v = -half; v <= half; v++)
        {
            for (int u = -half; u <= half; u++)
            {
                double fx = u / (period * stepUm) * o.PitchUm;
                double fy = v / (period * stepUm) * o.PitchUm;
                double f2 = (fx * fx) + (fy * fy);
                double h = Sinc(fx) * Sinc(fy) * Math.Exp((-strength * o.TurbulenceLog(stretch * Math.Sqrt(f2))) - (2 * Math.PI * Math.PI * o.JitterPx2 * f2));
                spectrum[v + half, u + half] *= h * scale * o.PitchUm * o.PitchUm / ((double)period * period * period * period * stepUm * stepUm);
            }
        }

        for (int y = 0; y < window; y++)
        {
            var line = new Complex[(2 * half) + 1];
            for (int v = 0; v < line.Length; v++)
            {
                for (int u = 0; u < line.Length; u++)
                {
                    line[u] += backward[y, v] * spectrum[v, u];
                }
            }

            for (int x = 0; x < window; x++)
            {
                double total = 0;
                for (int u = 0; u < line.Length; u++)
                {
                    total += (backward[x, u] * line[u]).Real;
                }

                sum[y, x] += total;
            }
        }
    }

    private static Complex[,] Sandwich(Complex[,] kernel, double[,] image)
    {
        int n = kernel.GetLength(0);
        int period = kernel.GetLength(1);
        var rows = new Complex[n, period];
        for (int a = 0; a < n; a++)
        {
            for (int y = 0; y < period; y++)
            {
                Complex k = kernel[a, y];
                for (int x = 0; x < period; x++)
                {
                    rows[a, x] += k * image[y, x];
                }
            }
        }

        var result = new Complex[n, n];
        for (int a = 0; a < n; a++)
        {
            for (int b = 0; b < n; b++)
            {
                Complex total = 0;
                for (int x = 0; x < period; x++)
                {
                    total += rows[a, x] * kernel[b, x];
                }

                result[a, b] = total;
            }
        }

        return result;
    }

    private static double Sinc(double v) => v == 0 ? 1 : Math.Sin(Math.PI * v) / (Math.PI * v);
}
