using System.Numerics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>The profile that neighboring columns share, against which noise and outliers show.</summary>
internal static class SharedProfile
{
    /// <summary>Median profile of some columns, each divided by its flux, and the flux that the profile then gives to each.</summary>
    public static (double[] Profile, double[] ColumnFlux) Of(SpectrumPixels pixels, int bin) => pixels.Shared[bin] ??= Make(pixels, bin);

    private static (double[] Profile, double[] ColumnFlux) Make(SpectrumPixels pixels, int bin)
    {
        (int c0, int c1) = pixels.Window.Bin(bin);
        ProfileWindow window = pixels.Window;
        var profile = new double[window.Rows];
        var flux = new double[c1 - c0];
        for (int c = c0; c < c1; c++)
        {
            for (int r = 0; r < window.Rows; r++)
            {
                double v = pixels[c, r];
                flux[c - c0] += double.IsNaN(v) ? 0 : v;
            }
        }

        int[] good = [.. Enumerable.Range(c0, c1 - c0).Where(c => flux[c - c0] > 0 && !pixels.Bad[c])];
        int lanes = Vector<double>.Count;
        var values = new double[good.Length * lanes];
        Span<double> median = stackalloc double[lanes], list = stackalloc double[good.Length];
        for (int r = 0; r < window.Rows; r += lanes)
        {
            Vector<double> sum = Vector<double>.Zero; // NaN as soon as one is
            for (int i = 0; i < good.Length && r + lanes <= window.Rows; i++)
            {
                Vector<double> v = new(pixels.Column(good[i])[r..]);
                (v / new Vector<double>(flux[good[i] - c0])).CopyTo(values, i * lanes);
                sum += v * Vector<double>.Zero;
            }

            if (good.Length > 0 && r + lanes <= window.Rows && Vector.EqualsAll(sum, Vector<double>.Zero))
            {
                LaneMedian.Find<double>(values, good.Length, lanes, median);
                median.CopyTo(profile.AsSpan(r));
                continue;
            }

            for (int k = r; k < Math.Min(r + lanes, window.Rows); k++)
            {
                int n = 0;
                foreach (int c in good)
                {
                    double v = pixels[c, k];
                    if (!double.IsNaN(v))
                    {
                        list[n++] = v / flux[c - c0];
                    }
                }

                profile[k] = n > 0 ? Robust.MedianInPlace(list[..n]) : 0;
            }
        }

        // Columns' fluxes again, by the profile, so that a cosmic ray does not count.
        for (int c = c0; c < c1; c++)
        {
            double a = 0, b = 0;
            for (int r = 0; r < window.Rows; r++)
            {
                double v = pixels[c, r];
                if (!double.IsNaN(v) && profile[r] > 0)
                {
                    a += v;
                    b += profile[r];
                }
            }

            flux[c - c0] = b > 0 ? a / b : 0;
        }

        return (profile, flux);
    }

    /// <summary>Electrons for one ADU, from how much more the bright pixels scatter than the sky; 1 when too few are bright.</summary>
    public static double EstimateGain(SpectrumPixels pixels)
    {
        ProfileWindow window = pixels.Window;
        var ratios = new List<double>();
        for (int b = 0; b < window.Bins; b++)
        {
            (int c0, int c1) = window.Bin(b);
            (double[] profile, double[] flux) = Of(pixels, b);
            double correction = 1 - (Math.PI / 2 / Math.Max(c1 - c0, 2)); // the profile is a median of the same columns
            for (int c = c0; c < c1; c++)
            {
                for (int r = 1; r + 1 < window.Rows; r++)
                {
                    double model = profile[r] * flux[c - c0];
                    double v = pixels[c, r];
                    double bend = 0.35 * Math.Abs(profile[r + 1] - profile[r - 1]) * Math.Max(flux[c - c0], 0) / 2;
                    if (!double.IsNaN(v) && model > 4 * pixels.Sigma && bend * bend < 2 * model)
                    {
                        double excess = ((v - model) * (v - model) / correction / 0.4549) - (pixels.Sigma * pixels.Sigma);
                        ratios.Add(excess / model);
                    }
                }
            }
        }

        double inverse = ratios.Count > 50 ? Robust.Median(ratios) : double.NaN;
        return inverse > 0 ? Math.Clamp(1 / inverse, 0.01, 1000) : 1;
    }

    /// <summary>Leaves out what departs from the shared profile by more than six standard deviations; gives the number of pixels.</summary>
    public static int RejectOutliers(SpectrumPixels pixels, double gain)
    {
        ProfileWindow window = pixels.Window;
        int count = 0;
        for (int b = 0; b < window.Bins; b++)
        {
            if (pixels.Settled[b])
            {
                continue;
            }

            bool changed = false;
            (int c0, int c1) = window.Bin(b);
            (double[] profile, double[] flux) = Of(pixels, b);
            double middle = Robust.Median(window.TraceY.AsSpan(c0, c1 - c0));
            for (int c = c0; c < c1; c++)
            {
                double f = Math.Max(flux[c - c0], 0);
                for (int r = 0; r < window.Rows; r++)
                {
                    double v = pixels[c, r];
                    // The trace runs on within the bin: first-order shift of the shared profile, and what that leaves.
                    double slope = 0.5 * (profile[Math.Min(r + 1, window.Rows - 1)] - profile[Math.Max(r - 1, 0)]);
                    double off = window.TraceY[c] - middle;
                    double model = (profile[r] - (off * slope)) * f;
                    double bend = (0.1 + (0.4 * Math.Abs(off))) * Math.Abs(slope) * f;
                    double sigma2 = (pixels.Sigma * pixels.Sigma) + (Math.Max(model, 0) / gain) + (bend * bend) + (0.0004 * model * model);
                    double d = v - model;
                    if (d * d > 36 * sigma2)
                    {
                        pixels[c, r] = double.NaN;
                        changed = true;
                        count++;
                    }
                }
            }

            // Where nothing was left out the profile stays, and so would another look at it.
            pixels.Shared[b] = changed ? null : pixels.Shared[b];
            pixels.Settled[b] = !changed;
        }

        return count;
    }

    /// <summary>Flux of each column and its standard uncertainty, ADU; pixels left out are filled from the shared profile.</summary>
    public static (double[] Flux, double[] Error) ColumnFlux(SpectrumPixels pixels, double gain)
    {
        ProfileWindow window = pixels.Window;
        var flux = new double[window.Columns];
        var fluxError = new double[window.Columns];
        for (int b = 0; b < window.Bins; b++)
        {
            (int c0, int c1) = window.Bin(b);
            (double[] profile, double[] model) = Of(pixels, b);
            for (int c = c0; c < c1; c++)
            {
                double total = 0, variance = 0;
                for (int r = 0; r < window.Rows; r++)
                {
                    double v = pixels[c, r];
                    total += double.IsNaN(v) ? profile[r] * model[c - c0] : v;
                    variance += pixels.Sigma * pixels.Sigma;
                }

                flux[c] = total;
                fluxError[c] = Math.Sqrt(variance + (Math.Max(total, 0) / gain));
            }
        }

        return (flux, fluxError);
    }
}
