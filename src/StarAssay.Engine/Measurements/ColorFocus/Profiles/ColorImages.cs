namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Images of the colors along one frame: made at some columns, in between a mixture of the two beside it.</summary>
internal sealed class ColorImages
{
    private const int MostBetween = 4; // bins from one to the next: seeing and diffraction change slowly
    private const int MostInBin = 3;
    private readonly double[] columns;
    private readonly ColorImage[] images;
    private readonly int[] before; // of each color along the frame, from the reach before its first column on
    private readonly double[] after; // share of the next image
    private readonly int beyond;

    /// <summary>Images as made at columns.</summary>
    /// <param name="columns">Where, rising.</param>
    /// <param name="images">There.</param>
    /// <param name="width">Columns of the frame.</param>
    /// <param name="beyond">Colors wanted before the first column and after the last.</param>
    public ColorImages(double[] columns, ColorImage[] images, int width, int beyond)
    {
        this.columns = columns;
        this.images = images;
        this.beyond = beyond;
        before = new int[width + (2 * beyond)];
        after = new double[before.Length];
        for (int x = 0; x < before.Length; x++)
        {
            (before[x], after[x]) = Beside(x - beyond);
        }
    }

    /// <summary>Columns to either side that an image covers.</summary>
    public int Reach => images[0].Plan.Reach;

    /// <summary>Number of images.</summary>
    public int Count => images.Length;

    /// <summary>One of them.</summary>
    public ColorImage this[int i] => images[i];

    /// <summary>Columns at which images are made: so near that the focus changes by no more than a step from one to the next.</summary>
    /// <param name="width">Columns of the frame.</param>
    /// <param name="bins">Its bins.</param>
    /// <param name="focusUm">Best focus at a column.</param>
    /// <param name="stepUm">How far it may change.</param>
    public static double[] Columns(int width, int bins, Func<double, double> focusUm, double stepUm)
    {
        // A fine row of places; as many are passed over as the step allows.
        int fine = bins * MostInBin;
        double[] place = [.. Enumerable.Range(0, fine).Select(m => ((m + 0.5) * width / fine) - 0.5)];
        double[] focus = [.. place.Select(focusUm)];
        var chosen = new List<double> { place[0] };
        for (int at = 0; at < fine - 1;)
        {
            int next = at + 1;
            double low = Math.Min(focus[at], focus[next]), high = Math.Max(focus[at], focus[next]);
            while (next + 1 < fine && next + 1 - at <= MostBetween * MostInBin)
            {
                (low, high) = (Math.Min(low, focus[next + 1]), Math.Max(high, focus[next + 1]));
                if (high - low > stepUm)
                {
                    break;
                }

                next++;
            }

            chosen.Add(place[next]);
            at = next;
        }

        return [.. chosen];
    }

    /// <summary>Image before a column, and the share of the next one; the outermost go on beyond.</summary>
    public (int Before, double After) Beside(double column)
    {
        if (images.Length == 1 || column <= columns[0])
        {
            return (0, 0);
        }

        int i = Array.BinarySearch(columns, column);
        i = Math.Min(i >= 0 ? i : ~i - 1, images.Length - 2);
        return (i, Math.Min(1, (column - columns[i]) / (columns[i + 1] - columns[i])));
    }

    /// <summary>The same for a color of the frame.</summary>
    public (int Before, double After) Of(int color) => (before[color + beyond], after[color + beyond]);

    /// <summary>Share of a color's light in a column at a distance.</summary>
    public double Along(int color, int distance)
    {
        (int i, double share) = Of(color);
        double one = images[i].AlongAt(distance);
        return share > 0 ? one + (share * (images[i + 1].AlongAt(distance) - one)) : one;
    }

    /// <summary>Light in each row of a color's image.</summary>
    public double[] Across(double column)
    {
        (int i, double share) = Beside(column);
        return share > 0 ? [.. images[i].Across.Zip(images[i + 1].Across, (a, b) => a + (share * (b - a)))] : images[i].Across;
    }
}
