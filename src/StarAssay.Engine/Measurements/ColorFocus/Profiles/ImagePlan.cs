using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Where the pixels of a color's image lie on its radial profile: the same for all images of a frame.</summary>
/// <remarks>Images are symmetric about their middle, along the dispersion and across: a quarter of each is kept.</remarks>
internal sealed class ImagePlan
{
    private const double Step = 0.5; // of the radial table, pixels

    // Frequencies to one of the profile's: the light of a sum over coarser ones comes back as a ring too near the window.
    private const int Fineness = 4;
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
        Frequency = new double[Fineness * (int)grid.Period];
        SeeingPower = new double[Frequency.Length];
        BlurPower = new double[Frequency.Length];
        for (int k = 0; k < Frequency.Length; k++)
        {
            double f = Frequency[k] = (k + 1) / (double)Frequency.Length;
            SeeingPower[k] = 0.5 * Seeing.StructureConstant * Math.Pow(f / Seeing.FwhmFactor, 5.0 / 3);
            BlurPower[k] = 2 * Math.PI * Math.PI * f * f;
        }

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
        bessel = new double[points * Frequency.Length];
        for (int i = 0; i < points; i++)
        {
            double x = 2 * Math.PI * i * Step;
            for (int k = 0; k < Frequency.Length; k++)
            {
                bessel[(i * Frequency.Length) + k] = Bessel.J0(x * Frequency[k]);
            }
        }
    }

    /// <summary>Rows and their frequencies.</summary>
    public ProfileGrid Grid { get; }

    /// <summary>Columns to either side of the middle.</summary>
    public int Reach { get; }

    /// <summary>Rows from the middle on, to the farther side.</summary>
    public int Half { get; }

    /// <summary>Frequencies up to one cycle a pixel, in even steps from the first on.</summary>
    public double[] Frequency { get; }

    /// <summary>Damping of each by seeing of one pixel FWHM; grows with the seeing's power of 5/3.</summary>
    public double[] SeeingPower { get; }

    /// <summary>Damping of each by a Gaussian of one square pixel.</summary>
    public double[] BlurPower { get; }

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
        // The sum from the first frequency on stands for the integral from zero: what is left between them (Euler and Maclaurin) would lie
        // as a negative sky over the whole window.
        double level = Frequency[0] / 12;
        var radial = new double[points];
        for (int i = 0; i < points; i++)
        {
            radial[i] = level + Sums.Dot(factors, bessel.AsSpan(i * Frequency.Length, factors.Length));
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
