using StarAssay.Engine.Decisions;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Decisions;

/// <summary>Truth: closed forms, and a simulation of what the uncertainty promises.</summary>
public class WeightedMeanTests
{
    [Fact]
    public void Equal_weights_give_the_plain_mean_and_u_over_root_n()
    {
        WeightedMean m = WeightedMean.Of(new MeanRequest { Values = [9.9, 10.1, 10.0, 10.0], Uncertainties = [0.2, 0.2, 0.2, 0.2], Unit = "nm" });
        Assert.Equal(10.0, m.Result.Value, 12);
        Assert.Equal(0.1, m.Result.Uncertainty, 12);
        Assert.Equal(double.PositiveInfinity, m.DegreesOfFreedom);
        Assert.Empty(m.Notes);
    }

    /// <summary>By hand: weights 1 and 1/4 at 0 and 5 give 1 +- sqrt(0.8), chi^2 = 1 + 4 = 5, Birge ratio sqrt(5).</summary>
    [Fact]
    public void Scatter_beyond_the_promise_is_believed()
    {
        WeightedMean m = WeightedMean.Of(new MeanRequest { Values = [0, 5], Uncertainties = [1, 2], Common = 3 });
        Assert.Equal(1.0, m.Result.Value, 12);
        Assert.Equal(Math.Sqrt(5), m.BirgeRatio, 12);
        Assert.Equal(2.0, m.RandomPart, 12);
        Assert.Equal(Math.Sqrt(13), m.Result.Uncertainty, 12);
        Assert.Equal(1, m.DegreesOfFreedom);
    }

    [Fact]
    public void Scatter_beyond_chance_is_noted_and_what_is_not_measured_left_out()
    {
        WeightedMean m = WeightedMean.Of(new MeanRequest { Values = [0, 10, double.NaN], Uncertainties = [1, 1, 1] });
        Assert.Equal(2, m.Count);
        Assert.Equal("decision.scatter", Assert.Single(m.Notes).Code);
        Assert.Throws<CannotMeasureException>(() => WeightedMean.Of(new MeanRequest { Values = [double.NaN], Uncertainties = [1] }));
    }

    /// <summary>4000 trials of 4 values each, true uncertainties: 68.3 % of the intervals (k by the degrees of freedom) hold
    /// the truth; believing the larger scatter may only widen them. Standard error of the share is 0.7 %.</summary>
    [Fact]
    public void Intervals_hold_the_truth_as_often_as_promised()
    {
        var random = new Random(7);
        int held = 0;
        const int Trials = 4000;
        for (int trial = 0; trial < Trials; trial++)
        {
            double[] v = [.. Enumerable.Range(0, 4).Select(_ => 5 + (0.3 * MathNet.Numerics.Distributions.Normal.Sample(random, 0, 1)))];
            WeightedMean m = WeightedMean.Of(new MeanRequest { Values = v, Uncertainties = [0.3, 0.3, 0.3, 0.3] });
            held += Math.Abs(m.Result.Value - 5) < UncertaintyBudget.TwoSidedFactor(0.6827, m.DegreesOfFreedom) * m.Result.Uncertainty ? 1 : 0;
        }

        Assert.InRange(held / (double)Trials, 0.66, 0.82);
    }
}
