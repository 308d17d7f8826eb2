using System.Numerics;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Rows of a window with the frequencies of their cosine series, shared by all profiles of that window.</summary>
/// <remarks>
/// On whole rows y a series of period P repeats itself: with k also P - k has the same cosine and the opposite sine, and P/2 - k the
/// same but for a sign that changes from row to row. A quarter of the frequencies is left, for even and for odd rows by themselves.
/// Cosines are even and sines odd, so the rows on both sides of the middle share them.
/// </remarks>
internal sealed class ProfileGrid
{
    public ProfileGrid(int firstRow, int rows, int frequencies)
    {
        FirstRow = firstRow;
        Rows = rows;
        Frequencies = Math.Min(frequencies, 2 * rows);
        Period = 2 * rows;
        Farthest = Math.Max(-firstRow, firstRow + rows - 1);
        Folded = (rows / 2) + 1;
        int wide = Vector<float>.Count;
        Stride = ((Farthest / 2) + wide) / wide * wide;
        Cos = [new float[Folded * Stride], new float[Folded * Stride]];
        Sin = [new float[Folded * Stride], new float[Folded * Stride]];
        int lanes = Vector<double>.Count;
        int padded = (Frequencies + (2 * lanes)) / lanes * lanes;
        Pixel = new double[padded];
        SeeingPower = new double[padded];
        BlurPower = new double[padded];
        for (int k = 0; k < padded; k++)
        {
            double f = (k + 1) / Period;
            Pixel[k] = k < Frequencies ? 2 / Period * Math.Sin(Math.PI * f) / (Math.PI * f) : 0;
            SeeingPower[k] = 0.5 * Seeing.StructureConstant * Math.Pow(f / Seeing.FwhmFactor, 5.0 / 3);
            BlurPower[k] = 2 * Math.PI * Math.PI * f * f;
        }

        for (int k = 0; k < Folded; k++)
        {
            for (int y = 0; y < 2 * Stride; y++)
            {
                // Whole turns are taken off first, so that frequencies of any size keep all digits.
                (double s, double c) = Math.SinCos(2 * Math.PI * ((long)k * y % (2 * rows)) / Period);
                Cos[y % 2][(k * Stride) + (y / 2)] = (float)c;
                Sin[y % 2][(k * Stride) + (y / 2)] = (float)s;
            }
        }
    }

    public int FirstRow { get; }

    public int Rows { get; }

    /// <summary>Number of frequencies of the series, the first of which has the period; at most up to one cycle a pixel.</summary>
    public int Frequencies { get; }

    public double Period { get; }

    /// <summary>Largest distance of a row from row zero.</summary>
    public int Farthest { get; }

    /// <summary>Number of frequencies that are left of them, from zero on.</summary>
    public int Folded { get; }

    /// <summary>Values kept for one of those: every other distance, filled up to whole vectors.</summary>
    public int Stride { get; }

    /// <summary>Of the frequencies that are left at even and at odd distances.</summary>
    public float[][] Cos { get; }

    /// <summary>As the cosines.</summary>
    public float[][] Sin { get; }

    /// <summary>What a pixel's width leaves of each frequency, with the series' own factor; from here on filled up to whole vectors.</summary>
    public double[] Pixel { get; }

    /// <summary>Damping of each frequency by seeing of one pixel FWHM; grows with the seeing's power of 5/3.</summary>
    public double[] SeeingPower { get; }

    /// <summary>Damping of each frequency by a Gaussian of one square pixel.</summary>
    public double[] BlurPower { get; }
}
