using MathNet.Numerics.LinearAlgebra;
using Complex = System.Numerics.Complex;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>Splits lengthening over the sensor into what all stars share, what turns with the direction to the middle, and the rest.</summary>
/// <remarks>E(z) = c + a z^2 + rest, c complex, a real, z from the middle over half the diagonal: least squares over an even grid on the sensor. a is the
/// lengthening in the corners along the line to the middle (radial), below 0 across it (tangential).</remarks>
internal sealed class FieldShape
{
    private const int Columns = 13, Rows = 11;
    private readonly Complex[] grid;
    private readonly Matrix<double> solve;

    /// <summary>For a sensor.</summary>
    /// <param name="reachU">Half its width over half its diagonal.</param>
    /// <param name="reachV">Half its height.</param>
    public FieldShape(double reachU, double reachV)
    {
        grid = [.. from j in Enumerable.Range(0, Rows) from i in Enumerable.Range(0, Columns)
            select new Complex(reachU * ((2.0 * i / (Columns - 1)) - 1), reachV * ((2.0 * j / (Rows - 1)) - 1))];
        var a = Matrix<double>.Build.Dense(2 * grid.Length, 3);
        for (int k = 0; k < grid.Length; k++)
        {
            Complex z2 = grid[k] * grid[k];
            (a[2 * k, 0], a[(2 * k) + 1, 1], a[2 * k, 2], a[(2 * k) + 1, 2]) = (1, 1, z2.Real, z2.Imaginary);
        }

        solve = (a.Transpose() * a).Inverse() * a.Transpose();
    }

    /// <summary>Common part, radial part in the corners, root mean square of the rest.</summary>
    public (Complex Common, double Radial, double Other) Split(Func<Complex, Complex> field)
    {
        var values = Vector<double>.Build.Dense(2 * grid.Length);
        for (int k = 0; k < grid.Length; k++)
        {
            Complex e = field(grid[k]);
            (values[2 * k], values[(2 * k) + 1]) = (e.Real, e.Imaginary);
        }

        Vector<double> c = solve * values;
        Complex common = new(c[0], c[1]);
        double squares = 0;
        for (int k = 0; k < grid.Length; k++)
        {
            Complex rest = new Complex(values[2 * k], values[(2 * k) + 1]) - common - (c[2] * grid[k] * grid[k]);
            squares += (rest.Real * rest.Real) + (rest.Imaginary * rest.Imaginary);
        }

        return (common, c[2], Math.Sqrt(squares / grid.Length));
    }
}
