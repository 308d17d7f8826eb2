using System.Numerics;

namespace StarAssay.Engine.Numerics;

/// <summary>Solves symmetric positive definite equations of which each row is zero up to some column (a skyline: Jennings 1966, Comput. J. 9, 281).</summary>
/// <remarks>What is zero before the first column of a row stays zero in the factor, so that unknowns which meet few others, put
/// first, cost next to nothing. Rows and columns are scaled to a unit diagonal: unknowns differ by many powers of ten.</remarks>
internal sealed class SkylineCholesky
{
    private const double Least = 1e-14; // of a pivot, where the diagonal is one
    private readonly int n;
    private readonly int[] first;
    private readonly double[] factor; // row by row, the lower half
    private readonly double[] scale;

    /// <summary>For matrices whose row i has nothing before a column.</summary>
    public SkylineCholesky(int[] first)
    {
        n = first.Length;
        this.first = first;
        factor = new double[n * n];
        scale = new double[n];
    }

    /// <summary>For full matrices.</summary>
    public SkylineCholesky(int size)
        : this(new int[size])
    {
    }

    /// <summary>Logarithm of the determinant.</summary>
    public double LogDeterminant { get; private set; }

    /// <summary>Factors a matrix, given row by row; only its lower half is read.</summary>
    /// <param name="matrix">n x n values.</param>
    /// <param name="damping">Added to every diagonal element, as a share of it.</param>
    public void Factor(ReadOnlySpan<double> matrix, double damping)
    {
        double log = 0;
        for (int i = 0; i < n; i++)
        {
            scale[i] = 1 / Math.Sqrt(Math.Max(matrix[(i * n) + i], 1e-300));
            log -= 2 * Math.Log(scale[i]);
        }

        for (int i = 0; i < n; i++)
        {
            Span<double> row = factor.AsSpan(i * n, n);
            double own = 1 + damping;
            for (int j = first[i]; j < i; j++)
            {
                int from = Math.Max(first[i], first[j]);
                double sum = from < j ? Sums.Dot(row[from..j], factor.AsSpan((j * n) + from, j - from)) : 0;
                row[j] = ((matrix[(i * n) + j] * scale[i] * scale[j]) - sum) / factor[(j * n) + j];
                own -= row[j] * row[j];
            }

            own = Math.Max(own, Least);
            row[i] = Math.Sqrt(own);
            log += Math.Log(own);
        }

        LogDeterminant = log;
    }

    /// <summary>Solves for a right side, in place.</summary>
    public void Solve(Span<double> x)
    {
        for (int i = 0; i < n; i++)
        {
            int from = first[i];
            x[i] = ((x[i] * scale[i]) - Sums.Dot(factor.AsSpan((i * n) + from, i - from), x[from..i])) / factor[(i * n) + i];
        }

        for (int i = n - 1; i >= 0; i--)
        {
            int from = first[i];
            x[i] /= factor[(i * n) + i];
            TakeOff(x[from..i], factor.AsSpan((i * n) + from, i - from), x[i]);
            x[i] *= scale[i];
        }
    }

    /// <summary>The inverse, row by row.</summary>
    public double[] Inverse()
    {
        var inverse = new double[n * n];
        for (int i = 0; i < n; i++)
        {
            inverse[(i * n) + i] = 1;
            Solve(inverse.AsSpan(i * n, n));
        }

        return inverse;
    }

    private static void TakeOff(Span<double> from, ReadOnlySpan<double> row, double times)
    {
        int i = 0, lanes = Vector<double>.Count;
        var by = new Vector<double>(times);
        for (; i <= row.Length - lanes; i += lanes)
        {
            (new Vector<double>(from[i..]) - (by * new Vector<double>(row[i..]))).CopyTo(from[i..]);
        }

        for (; i < row.Length; i++)
        {
            from[i] -= times * row[i];
        }
    }
}
