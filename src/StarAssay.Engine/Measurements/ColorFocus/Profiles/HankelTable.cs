using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Bessel functions of the radii and frequencies of a window's images: the same for all of them.</summary>
internal sealed class HankelTable
{
    private const double Step = 0.5; // of the radii, pixels

    // Frequencies to one of the profile's: the light of a sum over coarser ones comes back as a ring too near the window.
    private const int Fineness = 4;
    private readonly double[] bessel;

    /// <summary>Makes the table.</summary>
    /// <param name="grid">Rows of the profiles.</param>
    /// <param name="reach">Columns to either side of the middle.</param>
    public HankelTable(ProfileGrid grid, int reach)
    {
        Grid = grid;
        Reach = reach;
        int half = grid.Farthest + 1;
        Frequency = new double[Fineness * (int)grid.Period];
        SeeingPower = new double[Frequency.Length];
        BlurPower = new double[Frequency.Length];
        for (int k = 0; k < Frequency.Length; k++)
        {
            double f = Frequency[k] = (k + 1) / (double)Frequency.Length;
            SeeingPower[k] = 0.5 * Seeing.StructureConstant * Math.Pow(f / Seeing.FwhmFactor, 5.0 / 3);
            BlurPower[k] = 2 * Math.PI * Math.PI * f * f;
        }

        int points = (int)(Math.Sqrt((reach * reach) + ((half - 1) * (half - 1))) / Step) + 2;
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

    /// <summary>Columns to either side of the middle that it serves.</summary>
    public int Reach { get; }

    /// <summary>Frequencies up to one cycle a pixel, in even steps from the first on.</summary>
    public double[] Frequency { get; }

    /// <summary>Damping of each by seeing of one pixel FWHM; grows with the seeing's power of 5/3.</summary>
    public double[] SeeingPower { get; }

    /// <summary>Damping of each by a Gaussian of one square pixel.</summary>
    public double[] BlurPower { get; }

    /// <summary>A radius in steps of the table.</summary>
    public static double Place(double x, double y) => Math.Sqrt((x * x) + (y * y)) / Step;

    /// <summary>The light of these factors of the frequencies at the first radii (Hankel transform).</summary>
    public double[] Radial(ReadOnlySpan<double> factors, int points)
    {
        // The sum from the first frequency on stands for the integral from zero: what is left between them (Euler and Maclaurin) would lie
        // as a negative sky over the whole window.
        double level = Frequency[0] / 12;
        var radial = new double[points];
        for (int i = 0; i < points; i++)
        {
            radial[i] = level + Sums.Dot(factors, bessel.AsSpan(i * Frequency.Length, factors.Length));
        }

        return radial;
    }
}
