using MathNet.Numerics.Distributions;
using StarAssay.Engine.Decisions;
using StarAssay.Engine.Results;
using Xunit;

namespace StarAssay.Engine.Tests.Decisions;

public class DecidingChanceTests
{
    private const int Nights = 4000;
    private static readonly Claim AtLeast = new() { Name = "Strehl ratio", Lower = 0.95 };

    /// <summary>Nights that lie at the quantiles of a normal distribution about the truth, for each uncertainty.</summary>
    private static ChanceRequest At(double truth, params double[] u) => new()
    {
        Claim = AtLeast,
        Truth = truth,
        Rows = u.Length,
        Values = [.. u.SelectMany(s => Enumerable.Range(0, Nights).Select(k => Normal.InvCDF(truth, s, (k + 0.5) / Nights)))],
        Uncertainties = [.. u.SelectMany(s => Enumerable.Repeat(s, Nights))],
        Counted = "pairs of 20 s",
    };

    /// <summary>Closed form: a claim at distance d is decided when the value keeps 1.645 u from it, with the probability Phi(d / u - 1.645),
    /// and wrongly with Phi(-d / u - 1.645). Quantiles are exact to one night.</summary>
    [Theory]
    [InlineData(0.96)]
    [InlineData(0.955)]
    [InlineData(0.94)]
    public void ShareIsThatOfTheNormalDistribution(double truth)
    {
        double[] u = [0.006, 0.004, 0.003, 0.002];
        DecidingChance found = DecidingChance.Of(At(truth, u));
        double d = Math.Abs(truth - 0.95), z = Normal.InvCDF(0, 1, 0.95);
        for (int k = 0; k < u.Length; k++)
        {
            Assert.InRange(found.Right[k] - Normal.CDF(0, 1, (d / u[k]) - z), -1.0 / Nights, 1.0 / Nights);
            Assert.InRange(found.Wrong[k] - Normal.CDF(0, 1, (-d / u[k]) - z), -1.0 / Nights, 1.0 / Nights);
        }
    }

    [Fact]
    public void FirstRowThatReachesTheShareIsNamedAndNoMoreIsPromised()
    {
        // d = 0.01: Phi(0.01/u - 1.645) is 0.80 for u = 0.004, 0.955 for 0.003.
        DecidingChance found = DecidingChance.Of(At(0.96, 0.006, 0.004, 0.003));
        Assert.Equal(3, found.Needed);
        Assert.True(found.Reached < found.Right[2]);
        Assert.Equal("3 pairs of 20 s decide 'Strehl ratio' (at least 0.95) with 95 %, if the true value is 0.96.", found.Sentence);
        Assert.StartsWith("1 pair of 20 s decides", DecidingChance.Of(At(0.99, 0.006)).Sentence);
    }

    [Fact]
    public void WhatDoesNotSufficeIsSaid()
    {
        DecidingChance found = DecidingChance.Of(At(0.951, 0.006, 0.004));
        Assert.Equal(0, found.Needed);
        Assert.Contains("do not decide", found.Sentence);
        Assert.Contains("too near to the limit", found.Sentence);
    }

    [Fact]
    public void NightInDoubtDecidesNothing()
    {
        ChanceRequest request = At(0.99, 0.002);
        for (int k = 0; k < Nights; k += 2)
        {
            request.Values[k] = double.NaN;
        }

        DecidingChance found = DecidingChance.Of(request);
        Assert.Equal(0.5, found.Right[0], 6);
        Assert.Equal(0, found.Wrong[0], 6);
    }

    [Fact]
    public void UnitsOfClaimAndValuesMayDiffer()
    {
        ChanceRequest inUm = new()
        {
            Claim = new Claim { Name = "RMS", Upper = 0.030, Unit = "um" },
            Truth = 0.020,
            Rows = 1,
            UnitFactor = 0.001,
            Values = [20.0, 29.9],
            Uncertainties = [1.0, 1.0],
        };
        Assert.Equal(0.5, DecidingChance.Of(inUm).Right[0], 6);
    }

    [Fact]
    public void RowsMustFit() => Assert.Throws<InputException>(() => DecidingChance.Of(At(0.96, 0.006) with { Rows = 3 }));
}
