namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Columns summed to bins: the profile across the spectrum in each, and how wide it is.</summary>
internal sealed class ProfileBins
{
    private readonly SpectrumPixels pixels;
    private readonly double gain;

    public ProfileBins(SpectrumPixels pixels, double[] flux, bool[] inLine, double gain)
    {
        this.pixels = pixels;
        this.gain = gain;
        int bins = pixels.Window.Bins, rows = pixels.Window.Rows;
        Profile = new double[bins, rows];
        NoiseVariance = new double[bins, rows];
        Center = new double[bins];
        SubpixelMean = new double[bins];
        SubpixelVariance = new double[bins];
        Width = new double[bins];
        WidthError = new double[bins];
        SignalToNoise = new double[bins];
        for (int b = 0; b < bins; b++)
        {
            Fill(b, flux, inLine);
            (Width[b], WidthError[b], SignalToNoise[b]) = RobustWidth(b);
        }
    }

    /// <summary>Profiles, bins x rows, ADU summed over the bin's columns.</summary>
    public double[,] Profile { get; }

    /// <summary>Variance of the background and read noise in them, ADU^2.</summary>
    public double[,] NoiseVariance { get; }

    /// <summary>Mean column of each bin.</summary>
    public double[] Center { get; }

    /// <summary>Mean of the trace's subpixel place in each bin, pixels.</summary>
    public double[] SubpixelMean { get; }

    /// <summary>Variance that belongs to it, pixels^2.</summary>
    public double[] SubpixelVariance { get; }

    /// <summary>Half the range that holds 68.3 % of each profile, pixels.</summary>
    public double[] Width { get; }

    /// <summary>Its standard uncertainty.</summary>
    public double[] WidthError { get; }

    /// <summary>Flux over noise of each bin.</summary>
    public double[] SignalToNoise { get; }

    /// <summary>Sums the good columns of one bin, row by row.</summary>
    private void Fill(int b, double[] flux, bool[] inLine)
    {
        ProfileWindow window = pixels.Window;
        (int c0, int c1) = window.Bin(b);
        double wx = 0, w = 0, s = 0, ss = 0;
        for (int c = c0; c < c1; c++)
        {
            if (pixels.Bad[c] || inLine[c] || !(flux[c] > 0))
            {
                continue;
            }

            double sub = window.TraceY[c] - window.BaseRow[c];
            w += flux[c];
            wx += flux[c] * (window.First + c);
            s += flux[c] * sub;
            ss += flux[c] * sub * sub;
        }

        Center[b] = w > 0 ? wx / w : window.First + (0.5 * (c0 + c1 - 1));
        SubpixelMean[b] = w > 0 ? s / w : 0;
        SubpixelVariance[b] = w > 0 ? Math.Max(0, (ss / w) - (SubpixelMean[b] * SubpixelMean[b])) : 0;
        for (int r = 0; r < window.Rows; r++)
        {
            double sum = 0, good = 0;
            int n = 0;
            for (int c = c0; c < c1; c++)
            {
                double v = pixels[c, r];
                if (!pixels.Bad[c] && !inLine[c] && flux[c] > 0 && !double.IsNaN(v))
                {
                    sum += v;
                    good += flux[c];
                    n++;
                }
            }

            bool enough = good > 0.4 * w && n > 0;
            double scale = enough ? w / good : double.NaN;
            Profile[b, r] = sum * scale;
            NoiseVariance[b, r] = enough ? n * pixels.Sigma * pixels.Sigma * scale * scale : double.NaN;
        }
    }

    /// <summary>Half the range that holds 68.3 % of one bin's profile, its error from noise, and flux over noise.</summary>
    private (double Width, double Error, double SignalToNoise) RobustWidth(int b)
    {
        int rows = pixels.Window.Rows;
        var v = new double[rows];
        var variance = new double[rows];
        double total = 0, totalVariance = 0;
        for (int r = 0; r < rows; r++)
        {
            double p = Profile[b, r];
            v[r] = double.IsNaN(p) ? 0 : p;
            variance[r] = double.IsNaN(p) ? 0 : NoiseVariance[b, r] + (Math.Max(p, 0) / gain);
            total += v[r];
            totalVariance += variance[r];
        }

        double snr = totalVariance > 0 ? total / Math.Sqrt(totalVariance) : 0;
        if (!(snr > 3))
        {
            return (double.NaN, double.NaN, Math.Max(0, snr));
        }

        (double left, double densityLeft) = Quantile(v, total, 0.158655);
        (double right, double densityRight) = Quantile(v, total, 0.841345);
        double error = 0;
        for (int r = 0; r < rows; r++)
        {
            double belowLeft = Math.Clamp(left - r + 0.5, 0, 1), belowRight = Math.Clamp(right - r + 0.5, 0, 1);
            double g = 0.5 * ((-(belowRight - 0.841345) / densityRight) + ((belowLeft - 0.158655) / densityLeft));
            error += g * g * variance[r];
        }

        return (0.5 * (right - left), Math.Sqrt(error), snr);
    }

    private static (double At, double Density) Quantile(double[] v, double total, double share)
    {
        double sum = 0;
        for (int r = 0; r < v.Length; r++)
        {
            if (sum + v[r] >= share * total && v[r] > 0)
            {
                // row r covers r - 0.5 ... r + 0.5
                return (r - 0.5 + (((share * total) - sum) / v[r]), v[r]);
            }

            sum += v[r];
        }

        return (v.Length - 0.5, Math.Max(v[^1], 1e-12));
    }
}
