namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>How the modes of a rotationally symmetric telescope, its parts shifted and its sensor tilted, change over the field.</summary>
/// <remarks>
/// h = u + iv is the place from the sensor's middle over half its diagonal. Focus: z0 + z1 u + z2 v + z3 (u^2 + v^2), a tilted bowl.
/// Coma: Noll 8 + i Noll 7 = c0 + c1 h, c1 real. Astigmatism: Noll 6 + i Noll 5 = b0 + b1 h + b2 h^2, b2 real: two places
/// without astigmatism, its nodes. Third order of nodal aberration theory: Thompson 2005, J. Opt. Soc. Am. A 22, 1389 (from memory);
/// with all parts centered c0, b0 and b1 vanish and Seidel's laws are left, coma with the field and astigmatism with its square.
/// </remarks>
internal static class FieldTerms
{
    /// <summary>Focus, one component.</summary>
    public static double[,] Focus(double u, double v) => new[,] { { 1, u, v, (u * u) + (v * v) } };

    /// <summary>A plane, one component.</summary>
    public static double[,] Plane(double u, double v) => new[,] { { 1, u, v } };

    /// <summary>Noll 8 and Noll 7 by c0x, c0y, c1.</summary>
    public static double[,] Coma(double u, double v) => new[,] { { 1, 0, u }, { 0, 1, v } };

    /// <summary>Noll 6 and Noll 5 by b0x, b0y, b1x, b1y, b2.</summary>
    public static double[,] Astigmatism(double u, double v) => new[,] { { 1, 0, u, -v, (u * u) - (v * v) }, { 0, 1, v, u, 2 * u * v } };

    /// <summary>The same all over the field, one component.</summary>
    public static double[,] Constant() => new[,] { { 1.0 } };

    /// <summary>The same for two components.</summary>
    public static double[,] ConstantPair() => new[,] { { 1.0, 0 }, { 0, 1 } };

    /// <summary>A law at a place.</summary>
    /// <param name="row">Component by unknown.</param>
    /// <param name="values">Unknowns.</param>
    public static double[] At(double[,] row, double[] values)
    {
        double[] sum = new double[row.GetLength(0)];
        for (int m = 0; m < sum.Length; m++)
        {
            for (int k = 0; k < values.Length; k++)
            {
                sum[m] += row[m, k] * values[k];
            }
        }

        return sum;
    }

    /// <summary>Places without astigmatism, roots of b0 + b1 h + b2 h^2.</summary>
    public static (System.Numerics.Complex First, System.Numerics.Complex Second) Nodes(double[] b)
    {
        var b0 = new System.Numerics.Complex(b[0], b[1]);
        var b1 = new System.Numerics.Complex(b[2], b[3]);
        var root = System.Numerics.Complex.Sqrt((b1 * b1) - (4 * b[4] * b0));
        return ((-b1 + root) / (2 * b[4]), (-b1 - root) / (2 * b[4]));
    }
}
