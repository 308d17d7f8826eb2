namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Where the pixels of a color's image lie on its radial profile: the same for all images of a frame.</summary>
/// <remarks>Images are symmetric about their middle, along the dispersion and across: a quarter of each is kept.</remarks>
internal sealed class ImagePlan
{
    private readonly int[] cell;
    private readonly double[] share;
    private readonly int points;

    /// <summary>Plans images.</summary>
    /// <param name="table">Of the frame's window.</param>
    /// <param name="reach">Columns to either side of the middle; no more than the table's.</param>
    public ImagePlan(HankelTable table, int reach)
    {
        Table = table;
        Reach = reach;
        Half = Grid.Farthest + 1;
        cell = new int[(reach + 1) * Half];
        share = new double[cell.Length];
        for (int d = 0; d <= reach; d++)
        {
            for (int h = 0; h < Half; h++)
            {
                double x = HankelTable.Place(d, h);
                cell[(d * Half) + h] = (int)x;
                share[(d * Half) + h] = x - (int)x;
            }
        }

        points = cell.Max() + 2;
    }

    /// <summary>Frequencies and radii.</summary>
    public HankelTable Table { get; }

    /// <summary>Rows and their frequencies.</summary>
    public ProfileGrid Grid => Table.Grid;

    /// <summary>Columns to either side of the middle.</summary>
    public int Reach { get; }

    /// <summary>Rows from the middle on, to the farther side.</summary>
    public int Half { get; }

    /// <summary>Rows of the window, from those from the middle on.</summary>
    public double[] Whole(ReadOnlySpan<double> column)
    {
        var whole = new double[Grid.Rows];
        for (int r = 0; r < whole.Length; r++)
        {
            whole[r] = column[Math.Abs(r + Grid.FirstRow)];
        }

        return whole;
    }

    /// <summary>A quarter of the image, column by column, of the light with these factors of the frequencies.</summary>
    public double[] Quarter(ReadOnlySpan<double> factors)
    {
        double[] radial = Table.Radial(factors, points);
        var quarter = new double[cell.Length];
        for (int i = 0; i < quarter.Length; i++)
        {
            int c = cell[i];
            quarter[i] = radial[c] + (share[i] * (radial[c + 1] - radial[c]));
        }

        return quarter;
    }
}
