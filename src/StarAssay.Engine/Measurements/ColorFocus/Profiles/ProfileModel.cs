using System.Numerics;
using System.Runtime.CompilerServices;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Cosines and sines of every frequency at every distance from the middle row, shared by all profiles of one window.</summary>
/// <remarks>Cosines are even and sines odd, so the rows on both sides of the middle share them.</remarks>
internal sealed class ProfileGrid
{
    public ProfileGrid(int firstRow, int rows, int frequencies)
    {
        FirstRow = firstRow;
        Rows = rows;
        Frequencies = frequencies;
        Period = 2 * rows;
        Farthest = Math.Max(-firstRow, firstRow + rows - 1);
        Stride = (Farthest + Vector<double>.Count) / Vector<double>.Count * Vector<double>.Count;
        Cos = new double[frequencies * Stride];
        Sin = new double[frequencies * Stride];
        Pixel = new double[frequencies];
        SeeingPower = new double[frequencies];
        BlurPower = new double[frequencies];
        for (int k = 0; k < frequencies; k++)
        {
            double f = (k + 1) / Period;
            Pixel[k] = 2 / Period * Math.Sin(Math.PI * f) / (Math.PI * f);
            SeeingPower[k] = 0.5 * Seeing.StructureConstant * Math.Pow(f / Seeing.FwhmFactor, 5.0 / 3);
            BlurPower[k] = 2 * Math.PI * Math.PI * f * f;
            for (int d = 0; d <= Farthest; d++)
            {
                (double s, double c) = Math.SinCos(2 * Math.PI * (k + 1) * d / Period);
                Cos[(k * Stride) + d] = c;
                Sin[(k * Stride) + d] = s;
            }
        }
    }

    public int FirstRow { get; }

    public int Rows { get; }

    public int Frequencies { get; }

    public double Period { get; }

    /// <summary>Largest distance of a row from row zero.</summary>
    public int Farthest { get; }

    /// <summary>Values kept for one frequency: the distances from zero on, filled up to whole vectors.</summary>
    public int Stride { get; }

    public double[] Cos { get; }

    public double[] Sin { get; }

    /// <summary>What a pixel's width leaves of each frequency, with the series' own factor.</summary>
    public double[] Pixel { get; }

    /// <summary>Damping of each frequency by seeing of one pixel FWHM; grows with the seeing's power of 5/3.</summary>
    public double[] SeeingPower { get; }

    /// <summary>Damping of each frequency by a Gaussian of one square pixel.</summary>
    public double[] BlurPower { get; }
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
    private readonly DefocusTransfer.Share[] share;
    private readonly double wavesPerUm;
    private readonly int used;

    public ProfileModel(ProfileGrid grid, DefocusTransfer transfer, double wavelengthNm, double focalRatio, double pitchUm, double blurVariancePx)
    {
        this.grid = grid;
        this.transfer = transfer;
        wavesPerUm = 1000 / (8 * focalRatio * focalRatio * wavelengthNm);
        double perPixel = wavelengthNm * focalRatio / 1000 / pitchUm; // share of the cutoff of one cycle a pixel
        used = Math.Clamp((int)Math.Ceiling(grid.Period / perPixel) - 1, 0, grid.Frequencies);
        fixedPart = new double[used];
        share = new DefocusTransfer.Share[used];
        for (int k = 0; k < used; k++)
        {
            share[k] = new DefocusTransfer.Share((k + 1) / grid.Period * perPixel);
            fixedPart[k] = grid.Pixel[k] * Math.Exp(-grid.BlurPower[k] * blurVariancePx);
        }
    }

    /// <summary>Scratch for one thread.</summary>
    internal sealed class Work(int frequencies)
    {
        /// <summary>Of each frequency its factors with the cosine and the sine: of the profile, then of its derivatives by defocus, seeing,
        /// center and blur.</summary>
        public double[] Factors { get; } = new double[10 * frequencies];
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
        Span<double> c = work.Factors;
        double waves = defocusUm * wavesPerUm;
        double seeing = Math.Pow(seeingPx, 5.0 / 3);
        (double stepSin, double stepCos) = Math.SinCos(2 * Math.PI * center / grid.Period);
        double cos = stepCos, sin = stepSin;
        int count = 0;
        for (int k = 0; k < used; k++)
        {
            double power = grid.SeeingPower[k] * seeing;
            double damped = power + (grid.BlurPower[k] * blurPx2);
            if (damped > 16)
            {
                break; // below 1e-7 of the whole from here on
            }

            double atmosphere = fixedPart[k] * Math.Exp(-Math.Max(damped, 0));
            double m = transfer.At(share[k], waves, out double slope) * atmosphere;
            double mz = slope * wavesPerUm * atmosphere;
            double ms = -m * power * 5 / 3;
            double mb = -m * grid.BlurPower[k];
            double mc = m * 2 * Math.PI * (k + 1) / grid.Period;
            Span<double> f = c.Slice(10 * k, 10);
            f[0] = m * cos;
            f[1] = m * sin;
            f[2] = mz * cos;
            f[3] = mz * sin;
            f[4] = ms * cos;
            f[5] = ms * sin;
            f[6] = -mc * sin;
            f[7] = mc * cos;
            f[8] = mb * cos;
            f[9] = mb * sin;
            (cos, sin) = ((cos * stepCos) - (sin * stepSin), (sin * stepCos) + (cos * stepSin));
            count = k + 1;
        }

        double mean = 1 / grid.Period;
        for (int d = 0; d <= grid.Farthest; d += Vector<double>.Count)
        {
            Vector<double> vc = default, vs = default, zc = default, zs = default, sc = default, ss = default, dc = default, ds = default;
            Vector<double> bc = default, bs = default;
            // References and not spans: ten products a turn leave no time to check an index. Both tables hold `count` rows of whole vectors.
            ref double cosine = ref grid.Cos[d], sine = ref grid.Sin[d], f = ref c[0];
            for (int k = 0; k < count; k++)
            {
                Vector<double> rc = Vector.LoadUnsafe(ref cosine), rs = Vector.LoadUnsafe(ref sine);
                vc = Vector.MultiplyAddEstimate(rc, new Vector<double>(f), vc);
                vs = Vector.MultiplyAddEstimate(rs, new Vector<double>(Unsafe.Add(ref f, 1)), vs);
                zc = Vector.MultiplyAddEstimate(rc, new Vector<double>(Unsafe.Add(ref f, 2)), zc);
                zs = Vector.MultiplyAddEstimate(rs, new Vector<double>(Unsafe.Add(ref f, 3)), zs);
                sc = Vector.MultiplyAddEstimate(rc, new Vector<double>(Unsafe.Add(ref f, 4)), sc);
                ss = Vector.MultiplyAddEstimate(rs, new Vector<double>(Unsafe.Add(ref f, 5)), ss);
                dc = Vector.MultiplyAddEstimate(rc, new Vector<double>(Unsafe.Add(ref f, 6)), dc);
                ds = Vector.MultiplyAddEstimate(rs, new Vector<double>(Unsafe.Add(ref f, 7)), ds);
                bc = Vector.MultiplyAddEstimate(rc, new Vector<double>(Unsafe.Add(ref f, 8)), bc);
                bs = Vector.MultiplyAddEstimate(rs, new Vector<double>(Unsafe.Add(ref f, 9)), bs);
                cosine = ref Unsafe.Add(ref cosine, grid.Stride);
                sine = ref Unsafe.Add(ref sine, grid.Stride);
                f = ref Unsafe.Add(ref f, 10);
            }

            var level = new Vector<double>(mean);
            Lay(value, d, level + vc, vs);
            Lay(byDefocus, d, zc, zs);
            Lay(bySeeing, d, sc, ss);
            Lay(byCenter, d, dc, ds);
            Lay(byBlur, d, bc, bs);
        }
    }

    /// <summary>Rows at some distances to both sides of the middle, from the even and the odd part.</summary>
    private void Lay(Span<double> rows, int distance, Vector<double> even, Vector<double> odd)
    {
        int up = distance - grid.FirstRow, down = -distance - grid.FirstRow, lanes = Vector<double>.Count;
        Vector<double> above = even + odd, below = even - odd;
        if (up >= 0 && up + lanes <= grid.Rows && down < grid.Rows && down - lanes >= -1)
        {
            above.CopyTo(rows[up..]);
            for (int i = 0; i < lanes; i++)
            {
                rows[down - i] = below[i];
            }

            return;
        }

        for (int i = 0; i < lanes; i++)
        {
            if (up + i >= 0 && up + i < grid.Rows)
            {
                rows[up + i] = above[i];
            }

            if (down - i >= 0 && down - i < grid.Rows)
            {
                rows[down - i] = below[i];
            }
        }
    }
}
