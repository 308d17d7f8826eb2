using System.Numerics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Tests.Numerics;

/// <summary>The light of a square of samples against its sum, point by point, whatever is odd or even and however many threads.</summary>
public class CenteredTransformTests
{
    [Theory]
    [InlineData(8, 5)]
    [InlineData(9, 12)]
    [InlineData(17, 33)]
    [InlineData(32, 64)]
    public void Agrees_with_the_sum(int n, int m)
    {
        const double Half = 3.7;
        Complex[,] field = Field(n);
        double[] light = new CenteredTransform(n, m, Half).Light(field, new ParallelOptions());
        for (int row = 0; row < m; row++)
        {
            for (int column = 0; column < m; column++)
            {
                Complex sum = Complex.Zero;
                for (int y = 0; y < n; y++)
                {
                    for (int x = 0; x < n; x++)
                    {
                        double phase = -Math.PI * ((Place(row) * Rho(y)) + (Place(column) * Rho(x)));
                        sum += field[y, x] * Complex.FromPolarCoordinates(1, phase);
                    }
                }

                // Of a sum of n x n numbers of size 1.
                Assert.Equal(sum.Magnitude * sum.Magnitude, light[(row * m) + column], 1e-10 * n * n);
            }
        }

        double Rho(int j) => ((2 * j) + 1 - n) / (double)n;
        double Place(int k) => Half * ((2.0 * k / (m - 1)) - 1);
    }

    [Fact]
    [Trait("Compares", "bits")]
    public void Has_the_same_bits_for_any_number_of_threads()
    {
        Complex[,] field = Field(48);
        var transform = new CenteredTransform(48, 67, 9);
        double[] one = transform.Light(field, new ParallelOptions { MaxDegreeOfParallelism = 1 });
        Assert.Equal(one, transform.Light(field, new ParallelOptions { MaxDegreeOfParallelism = 7 }));
    }

    private static Complex[,] Field(int n)
    {
        var random = new Random(n);
        var field = new Complex[n, n];
        for (int k = 0; k < n * n; k++)
        {
            field[k / n, k % n] = new Complex(random.NextDouble() - 0.5, random.NextDouble() - 0.5);
        }

        return field;
    }
}
