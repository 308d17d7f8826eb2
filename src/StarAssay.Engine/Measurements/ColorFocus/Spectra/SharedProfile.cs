using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>The profile that neighboring columns share, against which noise and outliers show.</summary>
internal static class SharedProfile
{
    /// <summary>Median profile of some columns, each divided by its flux, and the flux that the profile then gives to each.</summary>
    public static (double[] Profile, double[] ColumnFlux) Of(SpectrumPixels pixels, int c0, int c1)
    {
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

        var list = new double[c1 - c0];
        for (int r = 0; r < window.Rows; r++)
        {
            int n = 0;
            for (int c = c0; c < c1; c++)
            {
                double v = pixels[c, r];
                if (!double.IsNaN(v) && flux[c - c0] > 0 && !pixels.Bad[c])
                {
                    list[n++] = v / flux[c - c0];
                }
            }

            profile[r] = n > 0 ? Robust.MedianInPlace(list.AsSpan(0, n)) : 0;
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
            (double[] profile, double[] flux) = Of(pixels, c0, c1);
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
            (int c0, int c1) = window.Bin(b);
            (double[] profile, double[] flux) = Of(pixels, c0, c1);
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
                        count++;
                    }
                }
            }
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
            (double[] profile, double[] model) = Of(pixels, c0, c1);
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
