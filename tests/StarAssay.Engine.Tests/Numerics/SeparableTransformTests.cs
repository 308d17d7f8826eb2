using System.Numerics;
using StarAssay.Engine.Numerics;
using Xunit;

namespace StarAssay.Engine.Tests.Numerics;

/// <summary>The transform by two products against the sum that defines it.</summary>
public class SeparableTransformTests
{
    [Theory]
    [InlineData(24, 17)]
    [InlineData(33, 40)]
    public void It_is_the_double_sum(int samples, int points)
    {
        const double First = -3.1, Step = 0.37;
        SeparableTransform.Parts f = Random(samples * samples), g = new SeparableTransform(samples, points, First, Step).Forward(f);
        foreach ((int j, int i) in new[] { (0, 0), (3, points - 1), (points - 1, 5), (points / 2, points / 2) })
        {
            Complex sum = Complex.Zero;
            for (int k = 0; k < f.Re.Length; k++)
            {
                double u = ((2 * (k % samples)) + 1 - samples) / (double)samples, v = ((2 * (k / samples)) + 1 - samples) / (double)samples;
                sum += new Complex(f.Re[k], f.Im[k]) * Complex.FromPolarCoordinates(1, -Math.PI * (((First + (i * Step)) * u) + ((First + (j * Step)) * v)));
            }

            // Single precision.
            Assert.Equal(sum.Real, g.Re[(j * points) + i], 2e-6 * samples * samples);
            Assert.Equal(sum.Imaginary, g.Im[(j * points) + i], 2e-6 * samples * samples);
        }
    }

    [Fact]
    public void Back_undoes_forward_where_the_points_hold_all_of_it()
    {
        // n samples see n lambda N before the other plane repeats itself.
        const int Samples = 32, Points = 64;
        SeparableTransform.Parts f = Random(Samples * Samples);
        var transform = new SeparableTransform(Samples, Points, -16 + 0.25, 0.5);
        SeparableTransform.Parts back = transform.Back(transform.Forward(f));
        Assert.All(Enumerable.Range(0, f.Re.Length), k => Assert.Equal(f.Re[k], back.Re[k], 2e-5));
        Assert.All(Enumerable.Range(0, f.Re.Length), k => Assert.Equal(f.Im[k], back.Im[k], 2e-5));
    }

    private static SeparableTransform.Parts Random(int count)
    {
        var random = new Random(4);
        return new SeparableTransform.Parts([.. Enumerable.Range(0, count).Select(_ => (float)(random.NextDouble() - 0.5))],
            [.. Enumerable.Range(0, count).Select(_ => (float)(random.NextDouble() - 0.5))]);
    }
}
