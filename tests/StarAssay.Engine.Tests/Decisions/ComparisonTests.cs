using StarAssay.Engine.Decisions;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Decisions;

/// <summary>Truth: the closed form of the score and of the normal distribution.</summary>
public class ComparisonTests
{
    private static ComparisonRequest Request(double a, double b, double ua = 3, double ub = 4, double correlation = 0, bool larger = true) => new()
    {
        Quantity = "RMS",
        FirstName = "Juniper 115",
        SecondName = "Alder 100",
        First = a,
        FirstUncertainty = ua,
        Second = b,
        SecondUncertainty = ub,
        Correlation = correlation,
        LargerIsBetter = larger,
        Unit = "nm",
    };

    [Fact]
    public void Score_is_the_difference_over_its_expanded_uncertainty()
    {
        // sqrt(3^2 + 4^2) = 5, k = 2: a difference of 15 scores 1.5.
        Comparison c = Comparison.Of(Request(35, 20));
        Assert.Equal(1.5, c.Score, 12);
        Assert.Equal(5, c.Difference.Uncertainty, 12);
        Assert.Equal(Ranking.First, c.Ranking);
        Assert.Equal(0.99865, c.ProbabilityFirstBetter, 0.00001);
        Assert.Equal(Ranking.Second, Comparison.Of(Request(35, 20, larger: false)).Ranking);
    }

    [Fact]
    public void A_score_up_to_one_does_not_tell_them_apart() =>
        Assert.Equal(Ranking.NotToldApart, Comparison.Of(Request(29.9, 20)).Ranking);

    /// <summary>u^2 = 3^2 + 4^2 - 2 x 0.5 x 3 x 4 = 13.</summary>
    [Fact]
    public void What_both_share_cancels() =>
        Assert.Equal(Math.Sqrt(13), Comparison.Of(Request(1, 0, correlation: 0.5)).Difference.Uncertainty, 12);

    [Fact]
    public void A_value_without_uncertainty_is_not_compared() =>
        Assert.Throws<CannotMeasureException>(() => Comparison.Of(Request(double.NaN, 1)));
}
