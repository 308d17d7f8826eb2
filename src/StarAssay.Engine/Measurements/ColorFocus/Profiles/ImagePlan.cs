using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Where the pixels of a color's image lie on its radial profile: the same for all images of a frame.</summary>
/// <remarks>Images are symmetric about their middle, along the dispersion and across: a quarter of each is kept.</remarks>
internal sealed class ImagePlan
{
    private const double Step = 0.5; // of the radial table, pixels
    private readonly int[] cell;
    private readonly double[] share;
    private readonly double[] bessel;
    private readonly int points;

    /// <summary>Plans images.</summary>
    /// <param name="grid">Rows of the profiles.</param>
    /// <param name="reach">Columns to either side of the middle.</param>
    public ImagePlan(ProfileGrid grid, int reach)
    {
        Grid = grid;
        Reach = reach;
        Half = grid.Farthest + 1;
        cell = new int[(reach + 1) * Half];
        share = new double[cell.Length];
        for (int d = 0; d <= reach; d++)
        {
            for (int h = 0; h < Half; h++)
            {
                double x = Math.Sqrt((d * d) + (h * h)) / Step;
                cell[(d * Half) + h] = (int)x;
                share[(d * Half) + h] = x - (int)x;
            }
        }

        points = cell.Max() + 2;
        bessel = new double[points * Frequencies];
        for (int i = 0; i < points; i++)
        {
            double x = 2 * Math.PI * i * Step / Frequencies;
            for (int k = 0; k < Frequencies; k++)
            {
                bessel[(i * Frequencies) + k] = Bessel.J0((k + 1) * x);
            }
        }
    }

    /// <summary>Rows and their frequencies.</summary>
    public ProfileGrid Grid { get; }

    /// <summary>Columns to either side of the middle.</summary>
    public int Reach { get; }

    /// <summary>Rows from the middle on, to the farther side.</summary>
    public int Half { get; }

    /// <summary>Frequencies up to one cycle a pixel; the period in pixels too.</summary>
    public int Frequencies => (int)Grid.Period;

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

    /// <summary>A quarter of the image, column by column, of the light with these factors of the frequencies (Hankel transform).</summary>
    public double[] Quarter(ReadOnlySpan<double> factors)
    {
        var radial = new double[points];
        for (int i = 0; i < points; i++)
        {
            radial[i] = Sums.Dot(factors, bessel.AsSpan(i * Frequencies, factors.Length));
        }

        var quarter = new double[cell.Length];
        for (int i = 0; i < quarter.Length; i++)
        {
            int c = cell[i];
            quarter[i] = radial[c] + (share[i] * (radial[c + 1] - radial[c]));
        }

        return quarter;
    }
}
