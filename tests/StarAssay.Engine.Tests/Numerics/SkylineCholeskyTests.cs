using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using Xunit;

namespace StarAssay.Engine.Tests.Numerics;

public class SkylineCholeskyTests
{
    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public void Solutions_inverse_and_determinant_are_those_of_the_library(bool arrow)
    {
        // Unknowns of sizes that differ by powers of ten; an arrow: each meets the last three only.
        const int N = 23;
        var random = new Random(5);
        Matrix<double> root = Matrix<double>.Build.Dense(3 * N, N, (i, j) =>
            (!arrow || j >= N - 3 || i % (N - 3) == j ? (random.NextDouble() - 0.5) * Math.Pow(10, j % 7) : 0));
        Matrix<double> normal = root.TransposeThisAndMultiply(root);
        int[] first = [.. Enumerable.Range(0, N).Select(i => arrow && i < N - 3 ? i : 0)];
        var ours = new SkylineCholesky(first);
        ours.Factor(normal.ToRowMajorArray(), 0);
        double[] right = [.. Enumerable.Range(0, N).Select(i => Math.Pow(10, i % 7) * (1 + i))], x = (double[])right.Clone();
        ours.Solve(x);
        Vector<double> theirs = normal.Cholesky().Solve(Vector<double>.Build.DenseOfArray(right));
        Matrix<double> inverse = normal.Inverse();
        double[] mine = ours.Inverse();
        for (int i = 0; i < N; i++)
        {
            Assert.Equal(theirs[i], x[i], 1e-7 * Math.Abs(theirs[i]));
            Assert.Equal(inverse[i, i], mine[(i * N) + i], 1e-7 * inverse[i, i]);
        }

        Assert.Equal(normal.Cholesky().DeterminantLn, ours.LogDeterminant, 1e-8 * Math.Abs(ours.LogDeterminant));
    }
}
