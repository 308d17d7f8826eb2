using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>The spectrum's pixels inside its window with the sky taken off.</summary>
internal sealed class SpectrumPixels
{
    private readonly SpectrumImage image;
    private readonly double[] values; // [column][row]

    private SpectrumPixels(SpectrumImage image, ProfileWindow window)
    {
        this.image = image;
        Window = window;
        values = new double[window.Columns * window.Rows];
        Background = new double[window.Columns];
        Bad = new bool[window.Columns];
    }

    /// <summary>Where they lie.</summary>
    public ProfileWindow Window { get; }

    /// <summary>Sky at the spectrum in each column, ADU.</summary>
    public double[] Background { get; }

    /// <summary>Noise of one sky pixel, ADU.</summary>
    public double Sigma { get; private set; }

    /// <summary>Columns that are clipped on the spectrum itself.</summary>
    public bool[] Bad { get; }

    /// <summary>Pixel in ADU, sky taken off; NaN = left out.</summary>
    public double this[int column, int row]
    {
        get => values[(column * Window.Rows) + row];
        set => values[(column * Window.Rows) + row] = value;
    }

    /// <summary>Takes the pixels and, in each column, the sky from up to <paramref name="side"/> rows on both sides.</summary>
    public static SpectrumPixels Take(SpectrumImage image, TraceFinder trace, ProfileWindow window, int side, List<Note> notes)
    {
        var pixels = new SpectrumPixels(image, window);
        pixels.TakeOffSky(trace, side, notes);
        return pixels;
    }

    /// <summary>Leaves out clipped pixels, and columns that are clipped within <paramref name="core"/> rows of the trace.</summary>
    public void LeaveOutClipped(int core, List<Note> notes)
    {
        int clipped = 0;
        for (int c = 0; c < Window.Columns; c++)
        {
            int count = 0;
            for (int r = 0; r < Window.Rows; r++)
            {
                int row = Window.BaseRow[c] + Window.FirstRow + r;
                if (image.ClippedAt![(row * image.Width) + Window.First + c])
                {
                    this[c, r] = double.NaN;
                    count += Math.Abs(Window.FirstRow + r) <= core ? 1 : 0;
                }
            }

            // One clipped pixel may be a cosmic ray; two side by side on the spectrum are the star.
            if (count >= 2)
            {
                Bad[c] = true;
                clipped++;
            }
        }

        if (clipped > 0.4 * Window.Columns)
        {
            throw new CannotMeasureException("color-focus.saturated",
                $"The spectrum in {image.Frame.Name} is clipped in {100.0 * clipped / Window.Columns:0} % of its columns, so its width means nothing. " +
                    "Expose shorter (the brightest color below three quarters of full well).", image.Frame.Name);
        }

        if (clipped > 0)
        {
            notes.Add(ColorFocusNotes.SaturatedColumns.Say($"{clipped} columns are clipped and were left out.", image.Frame.Name));
        }

        if (double.IsNaN(image.Frame.SaturationAdu))
        {
            notes.Add(ColorFocusNotes.SaturationGuessed.Say("No saturation level was given; give it, so that clipped columns are known for sure.",
                image.Frame.Name));
        }
    }

    private void TakeOffSky(TraceFinder trace, int side, List<Note> notes)
    {
        var sigma = new double[Window.Columns];
        Span<double> below = stackalloc double[side];
        Span<double> above = stackalloc double[side];
        bool oneSided = false;
        for (int c = 0; c < Window.Columns; c++)
        {
            int x = Window.First + c, y0 = Window.BaseRow[c];
            int nb = 0, na = 0;
            double centerBelow = 0, centerAbove = 0;
            for (int i = 0; i < side; i++)
            {
                int yb = y0 + Window.FirstRow - 1 - i, ya = y0 + Window.FirstRow + Window.Rows + i;
                if (yb >= 0 && IsSky(trace, x, yb, y0))
                {
                    below[nb++] = image.Pixels[(yb * image.Width) + x];
                    centerBelow += yb - y0;
                }

                if (ya < image.Height && IsSky(trace, x, ya, y0))
                {
                    above[na++] = image.Pixels[(ya * image.Width) + x];
                    centerAbove += ya - y0;
                }
            }

            (double mb, double sb, int kb) = nb >= 4 ? SkyLevel(below[..nb]) : (double.NaN, double.NaN, 0);
            (double ma, double sa, int ka) = na >= 4 ? SkyLevel(above[..na]) : (double.NaN, double.NaN, 0);
            centerBelow /= Math.Max(nb, 1);
            centerAbove /= Math.Max(na, 1);
            double slope = 0, level;
            if (kb > 0 && ka > 0)
            {
                slope = (ma - mb) / (centerAbove - centerBelow);
                level = mb - (slope * centerBelow);
                sigma[c] = Math.Sqrt(0.5 * ((sb * sb) + (sa * sa)));
            }
            else if (kb > 0 || ka > 0)
            {
                oneSided = true;
                level = kb > 0 ? mb : ma;
                sigma[c] = kb > 0 ? sb : sa;
            }
            else
            {
                // No sky beside the profile: the window's own ends must do.
                oneSided = true;
                double e1 = image.Pixels[((y0 + Window.FirstRow) * image.Width) + x],
                    e2 = image.Pixels[((y0 + Window.FirstRow + Window.Rows - 1) * image.Width) + x];
                level = Math.Min(e1, e2);
                sigma[c] = double.NaN;
            }

            Background[c] = level;
            for (int r = 0; r < Window.Rows; r++)
            {
                int row = y0 + Window.FirstRow + r;
                double v = image.Pixels[(row * image.Width) + x];
                this[c, r] = v - level - (slope * (Window.FirstRow + r));
            }
        }

        Sigma = Robust.Median(sigma.Where(double.IsFinite));
        if (!(Sigma > 0))
        {
            Sigma = double.IsFinite(image.Frame.ReadNoiseElectrons) && image.Frame.GainElectronsPerAdu > 0
                ? image.Frame.ReadNoiseElectrons / image.Frame.GainElectronsPerAdu : 1;
        }

        if (oneSided)
        {
            notes.Add(ColorFocusNotes.OneSidedBackground.Say("The background was taken on one side of the spectrum only, or at the window's ends; a slope " +
                "across it stays in the profile.", image.Frame.Name));
        }
    }

    private bool IsSky(TraceFinder trace, int x, int row, int y0)
    {
        if (!float.IsFinite(image.Pixels[(row * image.Width) + x]))
        {
            return false;
        }

        return double.IsNaN(trace.SecondOffset) || Math.Abs(row - y0 - trace.SecondOffset) > 1.5 * trace.SecondHalf;
    }

    /// <summary>Mean of what lies within 3.5 robust deviations of the median, the standard deviation of that, and how many pixels it is.</summary>
    private static (double Mean, double Sigma, int Count) SkyLevel(Span<double> values)
    {
        if (values.Length == 0)
        {
            return (double.NaN, double.NaN, 0);
        }

        (double median, double scatter) = Robust.MedianAndSigma(values);
        double limit = Math.Max(3.5 * scatter, 1e-9);
        double sum = 0, squares = 0;
        int n = 0;
        foreach (double v in values)
        {
            if (Math.Abs(v - median) <= limit)
            {
                sum += v - median;
                squares += (v - median) * (v - median);
                n++;
            }
        }

        double mean = sum / n;
        double sigma = n > 1 ? Math.Sqrt(Math.Max(0, (squares - (n * mean * mean)) / (n - 1))) : scatter;
        return (median + mean, sigma, n);
    }
}
