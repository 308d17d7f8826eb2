using MathNet.Numerics.Distributions;
using StarAssay.Engine.Simulation;

namespace StarAssay.Engine.Tests.Simulation;

/// <summary>Random numbers against MathNet's distributions.</summary>
public class SeededRandomTests
{
    [Theory]
    [InlineData(0.3)]
    [InlineData(4.0)]
    [InlineData(9.99)]
    [InlineData(10.01)]
    [InlineData(40.0)]
    [InlineData(700.0)]
    public void Poisson_numbers_follow_the_distribution(double mean)
    {
        const int Draws = 200_000;
        var random = new SeededRandom(42, 7);
        var expected = new Poisson(mean);
        int low = Math.Max(0, (int)(mean - (6 * Math.Sqrt(mean))) - 1);
        int bins = (int)(14 * Math.Sqrt(mean)) + 12;
        int[] counts = new int[bins];
        double sum = 0;
        double squares = 0;
        for (int i = 0; i < Draws; i++)
        {
            double k = random.NextPoisson(mean);
            sum += k;
            squares += (k - mean) * (k - mean);
            counts[Math.Clamp((int)k - low, 0, bins - 1)]++;
        }

        Assert.Equal(mean, sum / Draws, 5 * Math.Sqrt(mean / Draws));
        Assert.Equal(1, squares / Draws / mean, 5 * Math.Sqrt((2 + (1 / mean)) / Draws));

        // Pearson's chi square over the well-filled bins.
        double chi = 0;
        int used = 0;
        for (int b = 0; b < bins; b++)
        {
            double want = Draws * expected.Probability(low + b);
            if (want > 20)
            {
                chi += (counts[b] - want) * (counts[b] - want) / want;
                used++;
            }
        }

        Assert.InRange(chi, used - (5 * Math.Sqrt(2.0 * used)), used + (5 * Math.Sqrt(2.0 * used)));
    }

    [Fact]
    public void Normal_and_uniform_numbers_have_their_moments()
    {
        const int Draws = 400_000;
        var random = new SeededRandom(1, 2, 3);
        double mean = 0;
        double square = 0;
        double fourth = 0;
        double uniform = 0;
        for (int i = 0; i < Draws; i++)
        {
            double z = random.NextNormal();
            mean += z / Draws;
            square += z * z / Draws;
            fourth += z * z * z * z / Draws;
            uniform += random.NextUniform() / Draws;
        }

        Assert.Equal(0, mean, 5 / Math.Sqrt(Draws));
        Assert.Equal(1, square, 5 * Math.Sqrt(2.0 / Draws));
        Assert.Equal(3, fourth, 5 * Math.Sqrt(96.0 / Draws));
        Assert.Equal(0.5, uniform, 5 * Math.Sqrt(1.0 / 12 / Draws));
    }

    [Fact]
    public void Streams_of_different_names_differ_and_of_one_name_agree()
    {
        ulong[] firsts = [.. Enumerable.Range(0, 1000).Select(k => new SeededRandom(5, 1, k).NextBits())];
        Assert.Equal(1000, firsts.Distinct().Count());
        Assert.Equal(firsts[17], new SeededRandom(5, 1, 17).NextBits());
        Assert.NotEqual(firsts[17], new SeededRandom(6, 1, 17).NextBits());
        Assert.NotEqual(firsts[17], new SeededRandom(5, 2, 17).NextBits());
    }
}
