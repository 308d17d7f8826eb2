using StarAssay.Engine.Numerics;
using Xunit;

namespace StarAssay.Engine.Tests.Numerics;

public class RandomStreamTests
{
    [Fact]
    public void First_numbers_of_streams_know_nothing_of_one_another()
    {
        // The mean of N uniform numbers scatters by 1 / sqrt(12 N), and that of products of neighbors' departures by 1 / (12 sqrt N); plain
        // consecutive seeds miss the second by tens of that.
        const int N = 4000;
        foreach (int seed in new[] { 0, 1, 77 })
        {
            double[] first = [.. Enumerable.Range(0, N).Select(k => RandomStream.Of(seed, k).NextDouble() - 0.5)];
            Assert.True(Math.Abs(first.Average()) < 4 / Math.Sqrt(12.0 * N));
            for (int lag = 1; lag <= 8; lag++)
            {
                double product = Enumerable.Range(0, N - lag).Average(k => first[k] * first[k + lag]);
                Assert.True(Math.Abs(product) < 4 / (12 * Math.Sqrt(N)), $"lag {lag}: {product}");
            }
        }

        Assert.Equal(RandomStream.Of(3, 5).Next(), RandomStream.Of(3, 5).Next());
    }
}
