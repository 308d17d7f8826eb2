using System.Numerics;
using MathNet.Numerics.IntegralTransforms;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>The two-dimensional transform against MathNet's one-dimensional one, row by row and column by column.</summary>
public class SquareTransformTests
{
    [Theory]
    [InlineData(2)]
    [InlineData(4)]
    [InlineData(8)]
    [InlineData(32)]
    [InlineData(128)]
    public void Agrees_with_MathNet_and_comes_back(int n)
    {
        var random = new Random(n);
        double[] re = [.. Enumerable.Range(0, n * n).Select(_ => random.NextDouble() - 0.5)];
        double[] im = [.. Enumerable.Range(0, n * n).Select(_ => random.NextDouble() - 0.5)];
        Complex[,] expected = ByMathNet(re, im, n);
        double[] a = [.. re];
        double[] b = [.. im];
        var transform = new SquareTransform(n);
        transform.Forward(a, b);
        for (int v = 0; v < n; v++)
        {
            for (int u = 0; u < n; u++)
            {
                Assert.Equal(expected[v, u].Real, a[(u * n) + v], 1e-10);
                Assert.Equal(expected[v, u].Imaginary, b[(u * n) + v], 1e-10);
            }
        }

        transform.Inverse(a, b);
        for (int i = 0; i < re.Length; i++)
        {
            Assert.Equal(re[i], a[i], 1e-12);
            Assert.Equal(im[i], b[i], 1e-12);
        }
    }

    [Theory]
    [InlineData(0)]
    [InlineData(1)]
    [InlineData(12)]
    public void Other_sizes_are_refused(int n) => Assert.Throws<ArgumentOutOfRangeException>(() => new SquareTransform(n));

    private static Complex[,] ByMathNet(double[] re, double[] im, int n)
    {
        var data = new Complex[n, n];
        for (int y = 0; y < n; y++)
        {
            Complex[] row = [.. Enumerable.Range(0, n).Select(x => new Complex(re[(y * n) + x], im[(y * n) + x]))];
            Fourier.Forward(row, FourierOptions.NoScaling);
            for (int x = 0; x < n; x++)
            {
                data[y, x] = row[x];
            }
        }

        for (int x = 0; x < n; x++)
        {
            Complex[] column = [.. Enumerable.Range(0, n).Select(y => data[y, x])];
            Fourier.Forward(column, FourierOptions.NoScaling);
            for (int y = 0; y < n; y++)
            {
                data[y, x] = column[y];
            }
        }

        return data;
    }
}
