using MathNet.Numerics.LinearAlgebra;

namespace StarAssay.Engine.Numerics;

/// <summary>Symmetric positive definite matrices.</summary>
internal static class PositiveDefinite
{
    /// <summary>Inverse, or null when the matrix is not positive definite.</summary>
    /// <param name="normal">The matrix.</param>
    /// <param name="damping">Added to the diagonal after that has been scaled to one, as Levenberg and Marquardt do.</param>
    public static Matrix<double>? Inverse(Matrix<double> normal, double damping = 0)
    {
        // Scaled to a unit diagonal first: unknowns differ by many powers of ten.
        int n = normal.RowCount;
        double[] scale = [.. Enumerable.Range(0, n).Select(i => 1 / Math.Sqrt(Math.Max(normal[i, i], 1e-300)))];
        Matrix<double> scaled = Matrix<double>.Build.Dense(n, n, (i, j) => (normal[i, j] * scale[i] * scale[j]) + (i == j ? damping : 0));
        try
        {
            Matrix<double> inverse = scaled.Cholesky().Solve(Matrix<double>.Build.DenseIdentity(n));
            return Matrix<double>.Build.Dense(n, n, (i, j) => inverse[i, j] * scale[i] * scale[j]);
        }
        catch (ArgumentException)
        {
            return null; // not positive definite: damp
        }
    }
}
