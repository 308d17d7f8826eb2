using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>How strong the grating's second order is, recognized by the lines of the star's own first order.</summary>
/// <remarks>
/// At the place of wavelength L the second order shows L/2, its lines twice as wide: hydrogen's 410.2, 434.0 and 486.1 nm come
/// again at 820.3, 868.1 and 972.3 nm, and the violet end's flank at its double (grating equation: m L = d (sin a + sin b)). The
/// first order at L/2, stretched, is therefore a prediction of which only the strength is unknown. It is found by least squares on
/// what stands out from the local mean.
/// </remarks>
internal sealed class SecondOrder
{
    // Own choices, nm of the overlapped stretch: what is smoothed away on both sides, since a stretched line is blurred twice as
    // much as a real one, and over what the local mean runs.
    private const double SmoothNm = 8;
    private const double LocalNm = 70;
    private readonly double[][] predicted;

    private SecondOrder(double[][] predicted, double ratio, double error)
    {
        this.predicted = predicted;
        Ratio = ratio;
        Error = error;
    }

    /// <summary>Efficiency of the second order over that of the first; NaN when nothing could be compared.</summary>
    public double Ratio { get; }

    /// <summary>Its standard uncertainty.</summary>
    public double Error { get; }

    /// <summary>Whether lines of the second order are seen.</summary>
    public bool Seen => Ratio > 4 * Error && Ratio > 0.005;

    /// <summary>Whether it is so weak that it can be forgotten: below a hundredth, to within twice its error.</summary>
    public bool Absent => double.IsFinite(Ratio) && Ratio + (2 * Error) < 0.01;

    /// <summary>Compares the overlapped part of every frame with its first order.</summary>
    /// <param name="spectra">Reduced frames.</param>
    /// <param name="wave">Wavelength of each column of the whole frame, nm.</param>
    /// <param name="first">Column at which the reduced arrays begin.</param>
    /// <param name="fromNm">Where overlap may begin.</param>
    public static SecondOrder Find(IReadOnlyList<ReducedSpectrum> spectra, double[] wave, int first, double fromNm)
    {
        int n = spectra[0].Flux.Length;
        double[] nm = wave[first..(first + n)];
        double low = nm.Min(), high = nm.Max();
        var predicted = new double[spectra.Count][];
        double sum = 0, weight = 0;
        var found = new List<double>();
        double perColumn = (high - low) / (n - 1);
        for (int i = 0; i < spectra.Count; i++)
        {
            predicted[i] = Predict(spectra[i].Flux, nm);
        }

        // Telluric bands of the first order lie in the same stretch and are left out (Fraunhofer A; water near 820 and 930 nm lies
        // under what is compared and counts as scatter).
        bool Compared(int c) => nm[c] > Math.Max(fromNm, 2 * low) + (SmoothNm / 2) && !(nm[c] > 752 && nm[c] < 776);
        int smooth = Math.Max(1, (int)Math.Round(SmoothNm / perColumn)), local = Math.Max(smooth + 2, (int)Math.Round(LocalNm / perColumn));
        // The frames that are sharpest in the violet: there a wrong guess of the blur costs least.
        double[] width = [.. spectra.Select(s => VioletWidth(s, nm, low, high))];
        double sharp = 1.3 * width.Min();
        for (int i = 0; i < spectra.Count; i++)
        {
            if (width[i] > sharp)
            {
                continue;
            }

            double[] x = Stand(predicted[i], smooth, local), y = Stand(AsBlurred(spectra[i].Flux, width[i]), smooth, local);
            double xx = 0, xy = 0;
            for (int c = 0; c < n; c++)
            {
                if (Compared(c) && double.IsFinite(x[c]) && double.IsFinite(y[c]))
                {
                    xx += x[c] * x[c];
                    xy += x[c] * y[c];
                }
            }

            if (!(xx > 0))
            {
                continue;
            }

            // Scatter of what is left, with as many independent values as smoothing leaves.
            double ratio = xy / xx, left = 0;
            for (int c = 0; c < n; c++)
            {
                if (Compared(c) && double.IsFinite(x[c]) && double.IsFinite(y[c]))
                {
                    left += Math.Pow(y[c] - (ratio * x[c]), 2);
                }
            }

            int count = Enumerable.Range(0, n).Count(Compared);
            double sigma2 = left / Math.Max(1, (count / (double)smooth) - 1) / xx;
            found.Add(ratio);
            sum += ratio / sigma2;
            weight += 1 / sigma2;
        }

        if (found.Count == 0)
        {
            return new SecondOrder(predicted, double.NaN, double.NaN);
        }

        // Frames share the star's and the air's lines, so what these leave does not average out: the error of one frame stays.
        double mean = sum / weight;
        return new SecondOrder(predicted, mean, Math.Sqrt(found.Count / weight));
    }

    /// <summary>Second order's light in the columns of a bin that were used, for a ratio of 1.</summary>
    public double Light(ReducedSpectrum spectrum, int frame, int bin)
    {
        int n = spectrum.Flux.Length, bins = spectrum.BinColumn.Length;
        double sum = 0;
        for (int c = bin * n / bins; c < (bin + 1) * n / bins; c++)
        {
            sum += !spectrum.Masked[c] && spectrum.Flux[c] > 0 ? predicted[frame][c] : 0;
        }

        return sum;
    }

    /// <summary>Share of the second order in the light of a bin, for the ratio found.</summary>
    public double Share(ReducedSpectrum spectrum, int frame, int bin)
    {
        int n = spectrum.Flux.Length, bins = spectrum.BinColumn.Length;
        double all = 0;
        for (int c = bin * n / bins; c < (bin + 1) * n / bins; c++)
        {
            all += !spectrum.Masked[c] && spectrum.Flux[c] > 0 ? spectrum.Flux[c] : 0;
        }

        return all > 0 ? Math.Clamp(Ratio * Light(spectrum, frame, bin) / all, 0, 1) : 0;
    }

    /// <summary>First order at half of each column's wavelength, as photons in the column: half as many nm a column.</summary>
    private static double[] Predict(double[] flux, double[] nm)
    {
        int n = flux.Length;
        var result = new double[n];
        bool rising = nm[^1] > nm[0];
        double Step(int c)
        {
            int a = Math.Max(0, c - 1), b = Math.Min(n - 1, c + 1);
            return Math.Abs(nm[b] - nm[a]) / (b - a);
        }

        for (int c = 0; c < n; c++)
        {
            double half = nm[c] / 2;
            if (half < Math.Min(nm[0], nm[^1]) || half > Math.Max(nm[0], nm[^1]))
            {
                continue;
            }

            int lo = 0, hi = n - 1;
            while (hi - lo > 1)
            {
                int mid = (lo + hi) / 2;
                (lo, hi) = nm[mid] <= half == rising ? (mid, hi) : (lo, mid);
            }

            double t = (half - nm[lo]) / (nm[hi] - nm[lo]);
            double perNm = (flux[lo] + (t * (flux[hi] - flux[lo]))) / Step(lo);
            result[c] = Math.Max(0, perNm) * 0.5 * Step(c);
        }

        return result;
    }

    /// <summary>Width of the profile where the second order's colors lie in the first, pixels; infinite when it was not measured.</summary>
    private static double VioletWidth(ReducedSpectrum s, double[] nm, double low, double high)
    {
        int n = nm.Length, bins = s.BinColumn.Length;
        double[] found = [.. Enumerable.Range(0, bins)
            .Where(j => nm[j * n / bins] >= low && nm[j * n / bins] <= high / 2 && double.IsFinite(s.WidthPx[j]))
            .Select(j => s.WidthPx[j])];
        return found.Length > 0 ? Robust.Median(found) : double.PositiveInfinity;
    }

    /// <summary>The frame's light blurred as the prediction is: stretching doubles the blur of the first order's lines, while the
    /// second order's own are blurred once; what lacks is the root of three times the width of the profile there.</summary>
    private static double[] AsBlurred(double[] flux, double width)
    {
        if (!double.IsFinite(width))
        {
            return flux;
        }

        // Three running means, each with the variance of one blur.
        int reach = (int)Math.Round(0.5 * (Math.Sqrt((12 * width * width) + 1) - 1));
        return Running(Running(Running(flux, reach), reach), reach);
    }

    /// <summary>Smoothed, minus the local mean.</summary>
    private static double[] Stand(double[] v, int smooth, int local)
    {
        double[] a = Running(v, smooth / 2), b = Running(v, local / 2);
        return [.. a.Zip(b, (p, q) => p - q)];
    }

    private static double[] Running(double[] v, int reach)
    {
        var total = new double[v.Length + 1];
        for (int i = 0; i < v.Length; i++)
        {
            total[i + 1] = total[i] + v[i];
        }

        var mean = new double[v.Length];
        for (int i = 0; i < v.Length; i++)
        {
            // The same reach on both sides, so that a slope leaves nothing.
            int r = Math.Min(reach, Math.Min(i, v.Length - 1 - i));
            mean[i] = (total[i + r + 1] - total[i - r]) / ((2 * r) + 1);
        }

        return mean;
    }
}
