using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>A polynomial that gives the wavelength of each column.</summary>
/// <param name="Coefficients">Lowest power first, of the column scaled to -1 ... 1 over the frame.</param>
/// <param name="Width">Columns of the frame.</param>
internal sealed record ColumnScale(double[] Coefficients, int Width)
{
    /// <summary>Wavelength at a column, nm.</summary>
    public double Nm(double column) => RobustPolynomial.At(Coefficients, Scaled(column, Width));

    /// <summary>nm per column there, with its sign; never quite zero.</summary>
    public double Dispersion(double column)
    {
        double u = Scaled(column, Width), s = 0;
        for (int k = Coefficients.Length - 1; k >= 1; k--)
        {
            s = (s * u) + (k * Coefficients[k]);
        }

        double slope = s * 2 / (Width - 1);
        return Math.Abs(slope) < 1e-9 ? 1e-9 : slope;
    }

    /// <summary>The polynomial of a degree through columns and their wavelengths, by least squares.</summary>
    public static ColumnScale Fit(IEnumerable<double> columns, IEnumerable<double> nm, int width, int degree)
    {
        double[] x = [.. columns.Select(c => Scaled(c, width))], y = [.. nm];
        return new ColumnScale(MathNet.Numerics.Fit.Polynomial(x, y, Math.Min(degree, x.Length - 1)), width);
    }

    private static double Scaled(double column, int width) => (2 * column / (width - 1)) - 1;
}
