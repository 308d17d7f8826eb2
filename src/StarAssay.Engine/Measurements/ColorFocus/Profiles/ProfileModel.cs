using System.Numerics;
using System.Runtime.CompilerServices;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>
/// Profile across the spectrum of one color: exact defocused diffraction of the (annular) pupil, times Kolmogorov seeing,
/// times the pixel, times a Gaussian for the instrument, made by a cosine series.
/// </summary>
/// <remarks>By the projection-slice theorem the transform of the light summed along the dispersion is a slice through the
/// two-dimensional transfer function (Goodman, "Introduction to Fourier Optics"). Seeing: exp(-3.44 (f FWHM / 0.976)^(5/3))
/// (Fried 1966; Racine 1996).</remarks>
internal sealed class ProfileModel
{
    // Damping beyond which a frequency counts for nothing: e^-13 = 2e-6 of the whole, where bright profiles have noise of 1e-3.
    private const double Damped = 13;

    // Of each frequency its factors with the cosine and the sine: of the profile, then of its derivatives by defocus, seeing, center and
    // blur; filled up to whole vectors.
    private const int Factors = 16;

    // A frequency's own part is in double precision; of the sum the seventh digit counts for nothing.
    private static readonly float[] Signs = [.. Enumerable.Range(0, Factors).Select(i => i % 2 == 0 ? 1f : -1f)];

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
        fixedPart = new double[grid.Pixel.Length];
        share = new DefocusTransfer.Share[used];
        for (int k = 0; k < used; k++)
        {
            share[k] = new DefocusTransfer.Share((k + 1) / grid.Period * perPixel);
            fixedPart[k] = grid.Pixel[k] * Math.Exp(-grid.BlurPower[k] * blurVariancePx);
        }
    }

    /// <summary>Scratch for one thread.</summary>
    internal sealed class Work(ProfileGrid grid)
    {
        /// <summary>What seeing, blur and pixel leave of each frequency.</summary>
        public double[] Air { get; } = new double[grid.Pixel.Length];

        /// <summary>Factors of each frequency, from zero on.</summary>
        public float[] Series { get; } = new float[Factors * ((int)grid.Period + 1)];

        /// <summary>Factors of the frequencies that are left, at even and at odd rows.</summary>
        public float[][] Folded { get; } = [new float[Factors * grid.Folded], new float[Factors * grid.Folded]];

        /// <summary>Even and odd parts of the profile and of its derivatives at some distances from the middle.</summary>
        public float[] Parts { get; } = new float[10 * grid.Stride];
    }

    public Work NewWork() => new(grid);

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
        double seeing = Math.Pow(seeingPx, 5.0 / 3);

        (double blur, double blurByBlur, double blurBySeeing) = SeeingLaw.Bounded(blurPx2, seeingPx);
        int count = Math.Min(Air(seeing, blur, work.Air), used);
        FillSeries(defocusUm * wavesPerUm, seeing, (blurByBlur, blurBySeeing), center, count, work);
        Fold(work, count);
        for (int odd = 0; odd < 2; odd++)
        {
            Sum(odd, work);
            ReadOnlySpan<float> parts = work.Parts;
            Lay(value, odd, parts, 0);
            Lay(byDefocus, odd, parts, 1);
            Lay(bySeeing, odd, parts, 2);
            Lay(byCenter, odd, parts, 3);
            Lay(byBlur, odd, parts, 4);
        }
    }

    /// <summary>What seeing, blur and pixel leave of each frequency; gives the number of those that count.</summary>
    private int Air(double seeing, double blurPx2, double[] air)
    {
        int lanes = Vector<double>.Count, k = 0;
        Vector<double> bySeeing = new(seeing), byBlur = new(blurPx2);
        for (; k < used && (grid.SeeingPower[k] * seeing) + (grid.BlurPower[k] * blurPx2) <= Damped; k += lanes)
        {
            Vector<double> damped = (bySeeing * new Vector<double>(grid.SeeingPower, k)) + (byBlur * new Vector<double>(grid.BlurPower, k));
            (new Vector<double>(fixedPart, k) * Vector.Exp(-Vector.Max(damped, Vector<double>.Zero))).CopyTo(air, k);
        }

        return k;
    }

    private void FillSeries(double waves, double seeing, (double ByBlur, double BySeeing) blur, double center, int count, Work work)
    {
        (double stepSin, double stepCos) = Math.SinCos(2 * Math.PI * center / grid.Period);
        double cos = stepCos, sin = stepSin, turn = 2 * Math.PI / grid.Period, seeingStep = seeing * 5 / 3;
        Span<float> series = work.Series;
        series[..Factors].Clear();
        series[0] = (float)(1 / grid.Period);
        for (int k = 0; k < count; k++)
        {
            double air = work.Air[k];
            double m = transfer.At(share[k], waves, out double slope) * air;
            double mz = slope * wavesPerUm * air;
            double blurred = -m * grid.BlurPower[k];
            double ms = (-m * grid.SeeingPower[k] * seeingStep) + (blurred * blur.BySeeing);
            double mb = blurred * blur.ByBlur;
            double mc = m * turn * (k + 1);
            Span<float> f = series.Slice(Factors * (k + 1), Factors);
            f[9] = (float)(mb * sin);
            f[8] = (float)(mb * cos);
            f[7] = (float)(mc * cos);
            f[6] = (float)(-mc * sin);
            f[5] = (float)(ms * sin);
            f[4] = (float)(ms * cos);
            f[3] = (float)(mz * sin);
            f[2] = (float)(mz * cos);
            f[1] = (float)(m * sin);
            f[0] = (float)(m * cos);
            (cos, sin) = ((cos * stepCos) - (sin * stepSin), (sin * stepCos) + (cos * stepSin));
        }
    }

    /// <summary>Brings all frequencies to those up to a quarter of a cycle a row.</summary>
    private void Fold(Work work, int count)
    {
        int period = (int)grid.Period, half = grid.Rows;
        work.Series.AsSpan(Factors * (count + 1), Math.Max(0, Factors * (half - count))).Clear();
        ref float series = ref work.Series[0], even = ref work.Folded[0][0], odd = ref work.Folded[1][0];
        for (int i = 0; i < Factors; i += Vector<float>.Count)
        {
            var sign = new Vector<float>(Signs, i);

            // P - k: the same cosine, the opposite sine.
            for (int k = half + 1; k <= count; k++)
            {
                ref float to = ref Unsafe.Add(ref series, (Factors * (period - k)) + i);
                Vector<float> from = Vector.LoadUnsafe(ref Unsafe.Add(ref series, (Factors * k) + i));
                Vector.MultiplyAddEstimate(sign, from, Vector.LoadUnsafe(ref to)).StoreUnsafe(ref to);
            }

            // P/2 - k: both change sign from row to row, the sine once more.
            for (int k = 0; k < grid.Folded; k++)
            {
                Vector<float> one = Vector.LoadUnsafe(ref Unsafe.Add(ref series, (Factors * k) + i));
                Vector<float> other = k < half - k ? sign * Vector.LoadUnsafe(ref Unsafe.Add(ref series, (Factors * (half - k)) + i)) : default;
                (one + other).StoreUnsafe(ref Unsafe.Add(ref even, (Factors * k) + i));
                (one - other).StoreUnsafe(ref Unsafe.Add(ref odd, (Factors * k) + i));
            }
        }
    }

    /// <summary>Even and odd parts of the profile and its derivatives at even or at odd distances from the middle.</summary>
    private void Sum(int odd, Work work)
    {
        int stride = grid.Stride, folded = grid.Folded;
        Span<float> parts = work.Parts;
        for (int d = 0; d < stride; d += Vector<float>.Count)
        {
            Vector<float> vc = default, vs = default, zc = default, zs = default, sc = default, ss = default, dc = default, ds = default;
            Vector<float> bc = default, bs = default;
            // References and not spans: ten products a turn leave no time to check an index. Both tables hold `folded` rows of whole vectors.
            ref float cosine = ref grid.Cos[odd][d], sine = ref grid.Sin[odd][d], f = ref work.Folded[odd][0];
            for (int k = 0; k < folded; k++)
            {
                Vector<float> rc = Vector.LoadUnsafe(ref cosine), rs = Vector.LoadUnsafe(ref sine);
                vc = Vector.MultiplyAddEstimate(rc, new Vector<float>(f), vc);
                vs = Vector.MultiplyAddEstimate(rs, new Vector<float>(Unsafe.Add(ref f, 1)), vs);
                zc = Vector.MultiplyAddEstimate(rc, new Vector<float>(Unsafe.Add(ref f, 2)), zc);
                zs = Vector.MultiplyAddEstimate(rs, new Vector<float>(Unsafe.Add(ref f, 3)), zs);
                sc = Vector.MultiplyAddEstimate(rc, new Vector<float>(Unsafe.Add(ref f, 4)), sc);
                ss = Vector.MultiplyAddEstimate(rs, new Vector<float>(Unsafe.Add(ref f, 5)), ss);
                dc = Vector.MultiplyAddEstimate(rc, new Vector<float>(Unsafe.Add(ref f, 6)), dc);
                ds = Vector.MultiplyAddEstimate(rs, new Vector<float>(Unsafe.Add(ref f, 7)), ds);
                bc = Vector.MultiplyAddEstimate(rc, new Vector<float>(Unsafe.Add(ref f, 8)), bc);
                bs = Vector.MultiplyAddEstimate(rs, new Vector<float>(Unsafe.Add(ref f, 9)), bs);
                cosine = ref Unsafe.Add(ref cosine, stride);
                sine = ref Unsafe.Add(ref sine, stride);
                f = ref Unsafe.Add(ref f, Factors);
            }

            Keep(parts, d, 0, vc, vs);
            Keep(parts, d, 1, zc, zs);
            Keep(parts, d, 2, sc, ss);
            Keep(parts, d, 3, dc, ds);
            Keep(parts, d, 4, bc, bs);
        }
    }

    /// <summary>Sums and differences of even and odd parts: one side of the middle, and the other.</summary>
    private void Keep(Span<float> parts, int at, int which, Vector<float> even, Vector<float> odd)
    {
        (even + odd).CopyTo(parts[((2 * which * grid.Stride) + at)..]);
        (even - odd).CopyTo(parts[((((2 * which) + 1) * grid.Stride) + at)..]);
    }

    /// <summary>Every other row to both sides of the middle.</summary>
    private void Lay(Span<double> rows, int odd, ReadOnlySpan<float> parts, int which)
    {
        ReadOnlySpan<float> above = parts.Slice(2 * which * grid.Stride, grid.Stride), below = parts.Slice(((2 * which) + 1) * grid.Stride, grid.Stride);
        int zero = -grid.FirstRow;
        for (int i = 0, up = zero + odd; up < grid.Rows; i++, up += 2)
        {
            rows[up] = above[i];
        }

        for (int i = 0, down = zero - odd; down >= 0; i++, down -= 2)
        {
            rows[down] = below[i];
        }
    }
}
