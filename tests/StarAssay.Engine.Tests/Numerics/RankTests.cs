using CsCheck;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Tests.Numerics;

/// <summary>Selection against a full sort, the slow twin.</summary>
public class RankTests
{
    [Fact]
    public void Median_is_the_sorted_middle() =>
        Gen.Float[-1000, 1000].Array[1, 60].Sample(values =>
        {
            float[] sorted = [.. values.Order()];
            int n = sorted.Length;
            double expected = n % 2 == 1 ? sorted[n / 2] : 0.5 * ((double)sorted[(n / 2) - 1] + sorted[n / 2]);
            Assert.Equal(expected, Rank.Median(values));
        });

    [Fact]
    public void Many_equal_values_do_not_confuse_it() =>
        Gen.Int[0, 3].Array[1, 40].Sample(values =>
        {
            float[] copy = [.. values.Select(v => (float)v)];
            int k = values.Length / 3;
            Assert.Equal(values.Order().ElementAt(k), Rank.Select(copy, k));
        });

    [Theory]
    [InlineData(2048, 1e6)]
    [InlineData(2049, 3)]
    [InlineData(5000, 0.5)]
    [InlineData(5003, 1e-40)]
    public void Of_many_values_too_it_is_the_sorted_middle(int count, double scale)
    {
        // Negative ones, many equal ones and the smallest that floats can hold.
        var random = new Random(count);
        float[] values = [.. Enumerable.Range(0, count).Select(_ => (float)(scale * (random.Next(-300, 700) / 100.0)))];
        float[] sorted = [.. values.Order()];
        Assert.Equal(0.5 * ((double)sorted[(count - 1) / 2] + sorted[count / 2]), Rank.Median(values));
        double center = Rank.Median(values);
        float[] away = [.. values.Select(v => (float)Math.Abs(v - center)).Order()];
        Assert.Equal(Rank.MadToSigma * 0.5 * ((double)away[(count - 1) / 2] + away[count / 2]), Rank.MadSigma(values, center));
    }

    [Fact]
    public void Nothing_has_no_median() => Assert.True(double.IsNaN(Rank.Median([])));

    [Fact]
    public void Mad_of_one_to_five_is_one()
    {
        // |1..5 - 3| = 2 1 0 1 2, median 1; times 1 / Phi^-1(3/4) = 1.4826 (closed form).
        Assert.Equal(1.482602218505602, Rank.MadSigma([1, 2, 3, 4, 5], 3), 12);
    }
}
