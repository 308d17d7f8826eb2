using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Which rows of which columns belong to the spectrum: one window for all columns, along the trace.</summary>
internal sealed class ProfileWindow
{
    private ProfileWindow(int first, int bins, double[] traceY, int[] baseRow, int firstRow, int rows)
    {
        First = first;
        Bins = bins;
        TraceY = traceY;
        BaseRow = baseRow;
        FirstRow = firstRow;
        Rows = rows;
    }

    /// <summary>Column of the frame at which it begins.</summary>
    public int First { get; }

    /// <summary>Columns it covers.</summary>
    public int Columns => BaseRow.Length;

    /// <summary>Bins that share the columns.</summary>
    public int Bins { get; }

    /// <summary>Center of the spectrum in each column, pixels.</summary>
    public double[] TraceY { get; }

    /// <summary>The whole row nearest to it, the same for all columns of a bin.</summary>
    public int[] BaseRow { get; }

    /// <summary>Lowest row of the window, counted from the base row.</summary>
    public int FirstRow { get; }

    /// <summary>Rows of the window.</summary>
    public int Rows { get; }

    /// <summary>Columns of one bin: the first, and one past the last.</summary>
    public (int From, int End) Bin(int b) => (b * Columns / Bins, (b + 1) * Columns / Bins);

    /// <summary>Lays the window along the trace, or says why it has no room.</summary>
    public static ProfileWindow Along(SpectrumImage image, TraceFinder trace, int first, int end, int half, int bins, List<Note> notes)
    {
        int columns = end - first;
        string name = image.Frame.Name;
        var y = new double[columns];
        var baseRow = new int[columns];
        double low = double.MaxValue, high = double.MinValue;
        for (int c = 0; c < columns; c++)
        {
            y[c] = trace.At(first + c);
            low = Math.Min(low, y[c]);
            high = Math.Max(high, y[c]);
        }

        // One row for all columns of a bin: a step within it would blur the profile that its columns share.
        for (int b = 0; b < bins; b++)
        {
            int c0 = b * columns / bins, c1 = (b + 1) * columns / bins;
            Array.Fill(baseRow, (int)Math.Round(0.5 * (y[c0] + y[c1 - 1])), c0, c1 - c0);
        }

        // One window for all columns; cut where the frame ends, keeping it symmetric enough to hold the profile.
        int below = Math.Min(half, (int)Math.Floor(low) - 1), above = Math.Min(half, image.Height - 2 - (int)Math.Ceiling(high));
        int least = (int)Math.Ceiling(1.5 * trace.WideHalfWidth);
        if (below < Math.Max(3, least) || above < Math.Max(3, least))
        {
            throw new CannotMeasureException("color-focus.off-chip",
                $"The spectrum lies too close to the edge of {name}: {Math.Max(0, Math.Min(below, above))} rows are left beside it, {Math.Max(3, least)} " +
                    "are needed. Center it, or turn the camera until it runs along the rows.", name);
        }

        if (below < half || above < half)
        {
            notes.Add(ColorFocusNotes.WindowCut.Say($"The profile window of {half} rows on each side of the spectrum was cut to {below} below and {above} " +
                "above by the edge of the frame.", name));
        }

        return new ProfileWindow(first, bins, y, baseRow, -below, below + above + 1);
    }
}
