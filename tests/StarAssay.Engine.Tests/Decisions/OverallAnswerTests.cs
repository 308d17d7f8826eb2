using StarAssay.Engine.Decisions;
using StarAssay.Engine.Results;
using Xunit;

namespace StarAssay.Engine.Tests.Decisions;

public class OverallAnswerTests
{
    private static JudgedClaim Claim(string name, Verdict verdict, double p, bool welcome = false) => new(name, verdict, p, $"Measure {name} again.", welcome);

    private static readonly JudgedClaim Met = Claim("a", Verdict.Met, 0.99), Open = Claim("b", Verdict.NotDecided, 0.8), Missed = Claim("c", Verdict.NotMet, 0.01);

    [Fact]
    public void AnswerIsNeverStrongerThanTheVerdicts()
    {
        OverallAnswer Of(params JudgedClaim[] claims) => OverallAnswer.Of(new AnswerRequest { Claims = claims });
        Assert.Equal(Answer.Keep, Of(Met).Answer);
        Assert.Equal(Answer.NotDecidedYet, Of(Met, Open).Answer);
        Assert.Equal(Answer.Return, Of(Met, Open, Missed).Answer);
        Assert.Equal(Answer.NotDecidedYet, Of().Answer);
        Assert.Equal("Measure b again.", Of(Met, Open).NextStep);
        Assert.Equal("Not decided yet: 'b' is open, 1 of 2 that count are met.", Of(Met, Open).Sentence);

        // What is only welcome sends nothing back and keeps nothing open.
        Assert.Equal(Answer.Keep, Of(Met, Missed with { Welcome = true }, Open with { Welcome = true }).Answer);
        Assert.Equal(Answer.NotDecidedYet, Of(Met with { Welcome = true }).Answer);
    }

    [Fact]
    public void WhatCanBeAdjustedIsAdjustedBeforeItGoesBack()
    {
        OverallAnswer found = OverallAnswer.Of(new AnswerRequest
        {
            Claims = [Met, Missed],
            Adjustable = ["coma"],
            ReturnBy = "20 December 2026",
            DaysLeft = 9,
        });
        Assert.Equal(Answer.AdjustAndMeasureAgain, found.Answer);
        Assert.Equal("Adjust and measure again, by 20 December 2026: 'c' is not met, and coma can be adjusted by the user.", found.Sentence);
        Assert.Contains("has passed", OverallAnswer.Of(new AnswerRequest { Claims = [Missed], ReturnBy = "1 May 2026", DaysLeft = -3 }).Sentence);
    }

    [Theory]
    [InlineData("sensor_tilt", "the sensor's tilt can be adjusted by the user.")]
    [InlineData("field_sensor_tilt", "the sensor's tilt can be adjusted by the user.")]
    [InlineData("spacing_change", "the spacing can be adjusted by the user.")]
    public void ATiltedCameraIsNoReasonToReturnATelescope(string quantity, string words)
    {
        OverallAnswer found = OverallAnswer.Of(new AnswerRequest { Claims = [Met, Missed with { Quantity = quantity }] });
        Assert.Equal(Answer.AdjustAndMeasureAgain, found.Answer);
        Assert.EndsWith(words, found.Sentence);
        Assert.Equal(Answer.Return, OverallAnswer.Of(new AnswerRequest { Claims = [Met, Missed with { Quantity = "strehl" }] }).Answer);
    }

    /// <summary>Collimating a telescope, or taking the squeeze off a lens, does not flatten its field and lights no corner.</summary>
    [Theory]
    [InlineData("curvature_sag", "astigmatism", false)]
    [InlineData("focus_spread", "coma", false)]
    [InlineData("corner_illumination", "coma", false)]
    [InlineData("spherical", "coma", false)]
    [InlineData("focal_length", "astigmatism", false)]
    [InlineData("strehl", "astigmatism", true)]
    [InlineData("alignment_coma", "coma", true)]
    [InlineData("curvature_sag", "the spacing", true)]
    [InlineData("focus_spread", "the sensor's tilt", true)]
    [InlineData("corner_ratio", "coma", true)]
    public void OnlyWhatMayMendItIsAReasonToAdjust(string quantity, string by, bool mends)
    {
        OverallAnswer found = OverallAnswer.Of(new AnswerRequest { Claims = [Met, Missed with { Quantity = quantity }], Adjustable = [by] });
        Assert.Equal(mends ? Answer.AdjustAndMeasureAgain : Answer.Return, found.Answer);
        Assert.Equal(mends, found.Sentence.Contains(by, StringComparison.Ordinal));
    }

    [Fact]
    public void WhatNoScrewChangesIsNotAdjusted()
    {
        OverallAnswer found = OverallAnswer.Of(new AnswerRequest
        {
            Claims = [Missed with { Quantity = "strehl" }, Missed with { Name = "color", Quantity = "in_focus_fraction" }],
            Adjustable = ["coma"],
        });
        Assert.Equal(Answer.Return, found.Answer);
        Assert.Equal("Return it: 'c' and 'color' are not met, and nothing that a user may adjust changes 'color'.", found.Sentence);
    }

    /// <summary>Keeping costs (1 - p) C1 in the mean, returning p C2 (expected cost, JCGM 106 clause 9 in spirit); with Frechet's bounds for p
    /// from 0.9 and 0.8: 0.7 to 0.8. At C1 = 100 and C2 = 400 keeping costs at most 30, returning at least 280; the other way round returning
    /// at most 80, keeping at least 200 for C1 = 1000 and C2 = 100; at C1 = 300, C2 = 100 the ends disagree (90 and 70, 60 and 80).</summary>
    [Theory]
    [InlineData(100, 400, "keeping costs less in the mean", "at most 30 and returning at least 280")]
    [InlineData(1000, 100, "returning costs less in the mean", "at most 80 and keeping at least 200")]
    [InlineData(300, 100, "do not tell what is better", "between 70 % and 80 %")]
    public void CheaperChoiceIsNamedWhereItIsCheaperAtBothEnds(double keeping, double returning, string said, string numbers)
    {
        OverallAnswer found = OverallAnswer.Of(new AnswerRequest
        {
            Claims = [Met with { Probability = 0.9 }, Open],
            CostOfKeeping = keeping,
            CostOfReturning = returning,
        });
        Assert.Equal(Answer.NotDecidedYet, found.Answer);
        Assert.Contains(said, found.Costs);
        Assert.Contains(numbers, found.Costs);
    }

    [Fact]
    public void CostsSayNothingWithoutNumbers()
    {
        OverallAnswer found = OverallAnswer.Of(new AnswerRequest { Claims = [Open with { Probability = double.NaN }], CostOfKeeping = 1, CostOfReturning = 1 });
        Assert.Contains("do not help", found.Costs);
        Assert.Empty(OverallAnswer.Of(new AnswerRequest { Claims = [Open] }).Costs);
        Assert.Throws<InputException>(() => OverallAnswer.Of(new AnswerRequest { Claims = [Open], CostOfKeeping = -1, CostOfReturning = 1 }));
    }
}
