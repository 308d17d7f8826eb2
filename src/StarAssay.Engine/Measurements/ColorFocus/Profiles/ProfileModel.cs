using System.Numerics;
using System.Runtime.InteropServices;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Cosines and sines of every row and frequency, shared by all profiles of one window.</summary>
internal sealed class ProfileGrid
{
    public ProfileGrid(int firstRow, int rows, int frequencies)
    {
        FirstRow = firstRow;
        Rows = rows;
        Frequencies = (frequencies + Vector<double>.Count - 1) / Vector<double>.Count * Vector<double>.Count;
        Period = 2 * rows;
        Cos = new double[rows * Frequencies];
        Sin = new double[rows * Frequencies];
        for (int r = 0; r < rows; r++)
        {
            for (int k = 0; k < Frequencies; k++)
            {
                (double s, double c) = Math.SinCos(2 * Math.PI * (k + 1) * (firstRow + r) / Period);
                Cos[(r * Frequencies) + k] = c;
                Sin[(r * Frequencies) + k] = s;
            }
        }
    }

    public int FirstRow { get; }

    public int Rows { get; }

    public int Frequencies { get; }

    public double Period { get; }

    public double[] Cos { get; }

    public double[] Sin { get; }
}

/// <summary>
/// Profile across the spectrum of one color: exact defocused diffraction of the (annular) pupil, times Kolmogorov seeing,
/// times the pixel, times a Gaussian for the instrument, made by a cosine series.
/// </summary>
/// <remarks>By the projection-slice theorem the transform of the light summed along the dispersion is a slice through the
/// two-dimensional transfer function (Goodman, "Introduction to Fourier Optics"). Seeing: exp(-3.44 (f FWHM / 0.976)^(5/3))
/// (Fried 1966; Racine 1996).</remarks>
internal sealed class ProfileModel
{
    private readonly ProfileGrid grid;
    private readonly DefocusTransfer transfer;
    private readonly double[] fixedPart;
    private readonly double[] share;
    private readonly double[] seeingPower;
    private readonly double[] blurPower;
    private readonly double wavesPerUm;
    private readonly int used;

    public ProfileModel(ProfileGrid grid, DefocusTransfer transfer, double wavelengthNm, double focalRatio, double pitchUm, double blurVariancePx)
    {
        this.grid = grid;
        this.transfer = transfer;
        wavesPerUm = 1000 / (8 * focalRatio * focalRatio * wavelengthNm);
        int n = grid.Frequencies;
        fixedPart = new double[n];
        share = new double[n];
        seeingPower = new double[n];
        blurPower = new double[n];
        double cutoffUm = wavelengthNm * focalRatio / 1000;
        for (int k = 0; k < n; k++)
        {
            double f = (k + 1) / grid.Period;
            share[k] = f * cutoffUm / pitchUm;
            double pixel = Math.Sin(Math.PI * f) / (Math.PI * f);
            fixedPart[k] = share[k] < 1 ? 2 / grid.Period * pixel * Math.Exp(-2 * Math.PI * Math.PI * f * f * blurVariancePx) : 0;
            seeingPower[k] = 0.5 * Seeing.StructureConstant * Math.Pow(f / Seeing.FwhmFactor, 5.0 / 3);
            blurPower[k] = 2 * Math.PI * Math.PI * f * f;
            used = share[k] < 1 ? k + 1 : used;
        }
    }

    /// <summary>Scratch for one thread.</summary>
    internal sealed class Work(int frequencies)
    {
        public double[][] Coefficients { get; } = [.. Enumerable.Range(0, 10).Select(_ => new double[frequencies])];
    }

    public Work NewWork() => new(grid.Frequencies);

    /// <summary>Fills the profile (sum over all rows of the plane = 1) and its derivatives.</summary>
    /// <param name="defocusUm">Sensor minus best focus.</param>
    /// <param name="seeingPx">Seeing FWHM at this wavelength, pixels.</param>
    /// <param name="blurPx2">Variance of the spectrograph's own Gaussian blur, pixels^2; a little below zero stands for seeing with
    /// fainter wings than the law's.</param>
    /// <param name="center">Center, pixels from row 0 of the grid's zero.</param>
    /// <param name="work">Scratch.</param>
    /// <param name="value">Profile at each row.</param>
    /// <param name="byDefocus">Derivative by the defocus, per um.</param>
    /// <param name="bySeeing">Derivative by the logarithm of the seeing.</param>
    /// <param name="byBlur">Derivative by the blur's variance, per pixel^2.</param>
    /// <param name="byCenter">Derivative by the center, per pixel.</param>
    public void Evaluate(double defocusUm, double seeingPx, double blurPx2, double center, Work work,
        Span<double> value, Span<double> byDefocus, Span<double> bySeeing, Span<double> byBlur, Span<double> byCenter)
    {
        double[][] c = work.Coefficients;
        double waves = defocusUm * wavesPerUm;
        double seeing = Math.Pow(seeingPx, 5.0 / 3);
        (double stepSin, double stepCos) = Math.SinCos(2 * Math.PI * center / grid.Period);
        double cos = stepCos, sin = stepSin;
        int count = 0;
        for (int k = 0; k < used; k++)
        {
            double power = seeingPower[k] * seeing;
            double damped = power + (blurPower[k] * blurPx2);
            if (damped > 16)
            {
                break; // below 1e-7 of the whole from here on
            }

            double atmosphere = fixedPart[k] * Math.Exp(-Math.Max(damped, 0));
            double m = transfer.At(share[k], waves, out double slope) * atmosphere;
            double mz = slope * wavesPerUm * atmosphere;
            double ms = -m * power * 5 / 3;
            double mb = -m * blurPower[k];
            double mc = m * 2 * Math.PI * (k + 1) / grid.Period;
            c[0][k] = m * cos;
            c[1][k] = m * sin;
            c[2][k] = mz * cos;
            c[3][k] = mz * sin;
            c[4][k] = ms * cos;
            c[5][k] = ms * sin;
            c[6][k] = -mc * sin;
            c[7][k] = mc * cos;
            c[8][k] = mb * cos;
            c[9][k] = mb * sin;
            (cos, sin) = ((cos * stepCos) - (sin * stepSin), (sin * stepCos) + (cos * stepSin));
            count = k + 1;
        }

        int lanes = Vector<double>.Count;
        int padded = (count + lanes - 1) / lanes * lanes;
        for (int i = 0; i < c.Length; i++)
        {
            c[i].AsSpan(count, padded - count).Clear();
        }

        double mean = 1 / grid.Period;
        for (int r = 0; r < grid.Rows; r++)
        {
            ReadOnlySpan<Vector<double>> rc = MemoryMarshal.Cast<double, Vector<double>>(grid.Cos.AsSpan(r * grid.Frequencies, padded));
            ReadOnlySpan<Vector<double>> rs = MemoryMarshal.Cast<double, Vector<double>>(grid.Sin.AsSpan(r * grid.Frequencies, padded));
            Vector<double> v = default, z = default, s = default, d = default, b = default;
            ReadOnlySpan<Vector<double>> c0 = Cast(c[0], padded), c1 = Cast(c[1], padded), c2 = Cast(c[2], padded), c3 = Cast(c[3], padded);
            ReadOnlySpan<Vector<double>> c4 = Cast(c[4], padded), c5 = Cast(c[5], padded), c6 = Cast(c[6], padded), c7 = Cast(c[7], padded);
            ReadOnlySpan<Vector<double>> c8 = Cast(c[8], padded), c9 = Cast(c[9], padded);
            for (int k = 0; k < rc.Length; k++)
            {
                v += (rc[k] * c0[k]) + (rs[k] * c1[k]);
                z += (rc[k] * c2[k]) + (rs[k] * c3[k]);
                s += (rc[k] * c4[k]) + (rs[k] * c5[k]);
                d += (rc[k] * c6[k]) + (rs[k] * c7[k]);
                b += (rc[k] * c8[k]) + (rs[k] * c9[k]);
            }

            value[r] = mean + Vector.Sum(v);
            byDefocus[r] = Vector.Sum(z);
            bySeeing[r] = Vector.Sum(s);
            byBlur[r] = Vector.Sum(b);
            byCenter[r] = Vector.Sum(d);
        }
    }

    private static ReadOnlySpan<Vector<double>> Cast(double[] values, int count) =>
        MemoryMarshal.Cast<double, Vector<double>>(values.AsSpan(0, count));
}
