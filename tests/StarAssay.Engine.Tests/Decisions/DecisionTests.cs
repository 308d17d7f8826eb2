using CsCheck;
using MathNet.Numerics.Distributions;
using StarAssay.Engine.Decisions;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Decisions;

/// <summary>Truth: JCGM 106:2012 (tables and examples, numbers from memory), closed forms, and simulated decisions.</summary>
public class DecisionTests
{
    private static readonly Claim Strehl = new() { Name = "Strehl", Lower = 0.95 };

    /// <summary>JCGM 106, one-sided interval: z = (limit - y)/u for conformity probabilities 0.80, 0.90, 0.95, 0.99, 0.999.</summary>
    [Theory]
    [InlineData(0.84, 0.80)]
    [InlineData(1.28, 0.90)]
    [InlineData(1.64, 0.95)]
    [InlineData(2.33, 0.99)]
    [InlineData(3.09, 0.999)]
    public void One_sided_probability_follows_the_table(double z, double probability)
    {
        var claim = new Claim { Name = "x", Upper = 10 };
        // z is printed with two decimals: 0.005 of it moves the probability by at most 0.005 x 0.28.
        Assert.Equal(probability, Decision.ProbabilityOf(claim, 10 - (z * 2), 2), 0.0015);
    }

    /// <summary>JCGM 106, the speed check: relative uncertainty 2 %, limit 100 km/h, 99.9 % sure only from 107 km/h on.</summary>
    [Fact]
    public void Speed_check_example()
    {
        double threshold = 100 / (1 - (0.02 * 3.09));
        Assert.Equal(107, threshold, 0.5);
        var claim = new Claim { Name = "speed", Upper = 100, Unit = "km/h" };
        Verdict At(double v) => Decision.Decide(new DecisionRequest { Claim = claim, Value = v, Uncertainty = 0.02 * v, Risk = 0.001 }).Verdict;
        Assert.Equal(Verdict.NotMet, At(threshold + 0.05));
        Assert.Equal(Verdict.NotDecided, At(threshold - 0.05));
    }

    /// <summary>Two-sided closed form at the middle of the range: 2 Phi(T/2u) - 1; for T = 4u it is 95.45 %.</summary>
    [Fact]
    public void Two_sided_probability_at_the_middle()
    {
        var claim = new Claim { Name = "x", Lower = -2, Upper = 2 };
        Assert.Equal(0.9545, Decision.ProbabilityOf(claim, 0, 1), 0.00005);
    }

    [Theory]
    [InlineData(0.970, 0.010, Verdict.Met)]
    [InlineData(0.966, 0.010, Verdict.NotDecided)]
    [InlineData(0.940, 0.010, Verdict.NotDecided)]
    [InlineData(0.930, 0.010, Verdict.NotMet)]
    public void Guard_band_is_one_and_two_thirds_uncertainties(double y, double u, Verdict expected)
    {
        Decision d = Decision.Decide(new DecisionRequest { Claim = Strehl, Value = y, Uncertainty = u });
        Assert.Equal(expected, d.Verdict);
        Assert.Equal(1.6449 * u, d.GuardBand, 1e-5);
    }

    [Fact]
    public void Few_degrees_of_freedom_widen_the_guard_band()
    {
        // Student's t, one-sided 95 %, 3 degrees of freedom: 2.353 (table value, from memory).
        Decision d = Decision.Decide(new DecisionRequest { Claim = Strehl, Value = 0.97, Uncertainty = 0.01, DegreesOfFreedom = 3 });
        Assert.Equal(0.02353, d.GuardBand, 5e-6);
        Assert.Equal(Verdict.NotDecided, d.Verdict);
    }

    /// <summary>The promise itself: with the truth at the limit, "met" (and "not met") is said in at most 5 % of the cases.</summary>
    [Fact]
    public void Wrong_decisions_at_the_limit_are_as_rare_as_agreed()
    {
        var random = new Random(3);
        int met = 0, notMet = 0;
        const int Trials = 20000;
        for (int i = 0; i < Trials; i++)
        {
            Verdict v = Decision.Decide(new DecisionRequest { Claim = Strehl, Value = Normal.Sample(random, 0.95, 0.01), Uncertainty = 0.01 }).Verdict;
            met += v == Verdict.Met ? 1 : 0;
            notMet += v == Verdict.NotMet ? 1 : 0;
        }

        // Standard error of the share: 0.15 %.
        Assert.InRange(met / (double)Trials, 0.045, 0.055);
        Assert.InRange(notMet / (double)Trials, 0.045, 0.055);
    }

    /// <summary>u = 10 from 4 pairs, all random; 8 away from the limit. 1.645 u' = 8 needs u' = 4.864: n = 4 (10/4.864)^2 = 16.9.</summary>
    [Fact]
    public void Says_how_many_more_frames_would_decide()
    {
        Decision d = Decision.Decide(new DecisionRequest
        {
            Claim = new Claim { Name = "x", Lower = 100 },
            Value = 108,
            Uncertainty = 10,
            RandomPart = 10,
            Count = 4,
            Counted = "pairs",
        });
        Assert.Equal(17, d.CountNeeded);
        Assert.Contains("About 17 pairs", d.NextTest, StringComparison.Ordinal);
    }

    [Fact]
    public void Says_so_when_no_number_of_frames_would_decide()
    {
        Decision d = Decision.Decide(new DecisionRequest
        {
            Claim = new Claim { Name = "x", Lower = 100 },
            Value = 108,
            Uncertainty = 10,
            RandomPart = 5,
            Count = 4,
        });
        Assert.Equal(double.PositiveInfinity, d.CountNeeded);
        Assert.StartsWith("More frames will not decide it", d.NextTest, StringComparison.Ordinal);
    }

    /// <summary>With that many frames, and the value staying, it is decided; with one fewer it is not.</summary>
    [Fact]
    public void The_number_of_frames_is_the_least_that_decides() =>
        Gen.Select(Gen.Double[0.1, 1.6], Gen.Double[0.3, 1], Gen.Int[1, 20]).Sample((distance, randomShare, count) =>
        {
            DecisionRequest At(double n)
            {
                double random = Math.Sqrt(randomShare * count / n);
                return new DecisionRequest
                {
                    Claim = new Claim { Name = "x", Upper = 0 },
                    Value = -distance,
                    Uncertainty = Math.Sqrt((random * random) + 1 - randomShare),
                    RandomPart = random,
                    Count = (int)n,
                };
            }

            Decision first = Decision.Decide(At(count));
            return !double.IsFinite(first.CountNeeded) || first.CountNeeded > 1e6 || first.CountNeeded <= count + 1
                || (Decision.Decide(At(first.CountNeeded)).Verdict == Verdict.Met && Decision.Decide(At(first.CountNeeded - 1)).Verdict == Verdict.NotDecided);
        });

    [Fact]
    public void Doubts_and_other_conditions_forbid_a_decision()
    {
        Decision doubt = Decision.Decide(new DecisionRequest { Claim = Strehl, Value = 0.99, Uncertainty = 0.001, Doubts = ["Both images lie on one side."] });
        Assert.Equal(Verdict.NotDecided, doubt.Verdict);
        Assert.Equal(NoteLevel.Doubt, Assert.Single(doubt.Notes).Level);
        Assert.Contains("Both images lie on one side.", doubt.Reason, StringComparison.Ordinal);
        Decision other = Decision.Decide(new DecisionRequest
        {
            Claim = Strehl,
            Value = 0.99,
            Uncertainty = 0.001,
            OtherConditions = "Measured at 656 nm, claimed at 540 nm."
        });
        Assert.Equal(Verdict.NotDecided, other.Verdict);
    }

    [Fact]
    public void Nothing_measured_is_not_decided_and_names_the_test()
    {
        Decision d = Decision.Decide(new DecisionRequest { Claim = Strehl, MissingTest = "Take a pair." });
        Assert.Equal(Verdict.NotDecided, d.Verdict);
        Assert.Equal("Take a pair.", d.NextTest);
        Assert.True(double.IsNaN(d.ProbabilityOfConformity));
    }

    [Fact]
    public void A_range_too_narrow_can_be_missed_but_never_met()
    {
        var claim = new Claim { Name = "focal length", Lower = 759, Upper = 761, Unit = "mm" };
        Decision d = Decision.Decide(new DecisionRequest { Claim = claim, Value = 760, Uncertainty = 1 });
        Assert.Equal(Verdict.NotDecided, d.Verdict);
        Assert.Equal("decision.too-narrow", Assert.Single(d.Notes).Code);
        Assert.Equal(Verdict.NotMet, Decision.Decide(new DecisionRequest { Claim = claim, Value = 763, Uncertainty = 1 }).Verdict);
    }

    [Theory]
    [InlineData(1, 0)]
    [InlineData(double.NaN, 1)]
    [InlineData(double.NegativeInfinity, double.PositiveInfinity)]
    public void A_claim_without_a_range_is_refused(double lower, double upper) =>
        Assert.Throws<InputException>(() =>
            Decision.Decide(new DecisionRequest { Claim = new Claim { Name = "x", Lower = lower, Upper = upper }, Value = 1, Uncertainty = 1 }));
}
