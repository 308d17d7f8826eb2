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
        Shared = new (double[], double[])?[window.Bins];
        Settled = new bool[window.Bins];
    }

    /// <summary>Where they lie.</summary>
    public ProfileWindow Window { get; }

    /// <summary>Sky at the spectrum in each column, ADU.</summary>
    public double[] Background { get; }

    /// <summary>Noise of one sky pixel, ADU.</summary>
    public double Sigma { get; private set; }

    /// <summary>Columns that are clipped on the spectrum itself.</summary>
    public bool[] Bad { get; }

    /// <summary>Profile that a bin's columns share and their fluxes by it, as long as no pixel is left out after it was made.</summary>
    public (double[] Profile, double[] ColumnFlux)?[] Shared { get; }

    /// <summary>Bins whose outliers are found.</summary>
    public bool[] Settled { get; }

    /// <summary>Pixels of one column.</summary>
    public ReadOnlySpan<double> Column(int column) => values.AsSpan(column * Window.Rows, Window.Rows);

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
        bool oneSided = false;
        var lower = new SkySide(image, trace, side);
        var upper = new SkySide(image, trace, side);
        for (int b = 0; b < Window.Bins; b++)
        {
            // All columns of a bin have the same rows.
            (int c0, int c1) = Window.Bin(b);
            int y0 = Window.BaseRow[c0], x0 = Window.First + c0;
            lower.Take(x0, c1 - c0, y0, Window.FirstRow - 1, -1);
            upper.Take(x0, c1 - c0, y0, Window.FirstRow + Window.Rows, 1);
            for (int c = c0; c < c1; c++)
            {
                SkyLevel below = lower.Level[c - c0], above = upper.Level[c - c0];
                double slope = 0, level;
                if (below.Count > 0 && above.Count > 0)
                {
                    slope = (above.Mean - below.Mean) / (above.Middle - below.Middle);
                    level = below.Mean - (slope * below.Middle);
                    sigma[c] = Math.Sqrt(0.5 * ((below.Sigma * below.Sigma) + (above.Sigma * above.Sigma)));
                }
                else if (below.Count > 0 || above.Count > 0)
                {
                    oneSided = true;
                    (level, sigma[c]) = below.Count > 0 ? (below.Mean, below.Sigma) : (above.Mean, above.Sigma);
                }
                else
                {
                    // No sky beside the profile: the window's own ends must do.
                    oneSided = true;
                    int x = Window.First + c, last = y0 + Window.FirstRow + Window.Rows - 1;
                    level = Math.Min(image.Pixels[((y0 + Window.FirstRow) * image.Width) + x], image.Pixels[(last * image.Width) + x]);
                    sigma[c] = double.NaN;
                }

                Background[c] = level;
                for (int r = 0; r < Window.Rows; r++)
                {
                    double v = image.Pixels[((y0 + Window.FirstRow + r) * image.Width) + Window.First + c];
                    this[c, r] = v - level - (slope * (Window.FirstRow + r));
                }
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
}
