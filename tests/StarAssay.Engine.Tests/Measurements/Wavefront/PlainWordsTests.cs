using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Tests.Measurements.Wavefront;

public class PlainWordsTests
{
    [Theory]
    [InlineData(4, 0)]
    [InlineData(3, 1)]
    [InlineData(5, -3)]
    public void Noise_alone_names_a_cause_in_one_of_a_hundred_modes(int n, int m)
    {
        const int draws = 20_000;
        ZernikeIndex mode = new(n, m);
        ZernikeIndex[] modes = m == 0 ? [mode] : [mode, new ZernikeIndex(n, -m)];
        var random = new Random(41);
        double Normal() => Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
        int named = Enumerable.Range(0, draws).Count(_ =>
            !PlainWords.Of(mode, [.. modes.Select(_ => 3 * Normal())], modes, 3).StartsWith("not told", StringComparison.Ordinal));

        // Binomial: 200 of 20,000, with a standard deviation of 14.
        Assert.InRange(named, 200 - 56, 200 + 56);
    }
}
