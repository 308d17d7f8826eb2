using CsCheck;
using StarAssay.Engine.Decisions;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Decisions;

/// <summary>Truth: the worked example and the tables of JCGM 100:2008 (numbers from memory), then closed forms.</summary>
public class UncertaintyBudgetTests
{
    /// <summary>JCGM 100 annex H.1, end-gauge calibration: 25, 9.7, 2.9 and 16.6 nm with 18, 25.6, 50 and 2 degrees of freedom
    /// give 32 nm, 16 effective degrees of freedom, k = 2.92 and 93 nm at 99 % (which uses the rounded 32 nm).</summary>
    [Fact]
    public void End_gauge_example_of_the_GUM()
    {
        UncertaintyBudget b = UncertaintyBudget.Combine(new BudgetRequest
        {
            Value = 50000838,
            Unit = "nm",
            CoverageProbability = 0.99,
            Entries =
            [
                new BudgetEntry { Source = "standard", Uncertainty = 25, DegreesOfFreedom = 18 },
                new BudgetEntry { Source = "comparison", Uncertainty = 9.7, DegreesOfFreedom = 25.6 },
                new BudgetEntry { Source = "expansion", Uncertainty = 0.58e-6, Sensitivity = -5e6, DegreesOfFreedom = 50 },
                new BudgetEntry { Source = "temperature", Uncertainty = 0.0289, Sensitivity = -575, DegreesOfFreedom = 2 },
            ],
        });
        Assert.Equal(32, b.Result.Uncertainty, 0.5);
        Assert.Equal(16.7, b.DegreesOfFreedom, 0.15);
        Assert.Equal(2.92, b.CoverageFactor, 0.005);
        Assert.Equal(93, b.CoverageFactor * Math.Round(b.Result.Uncertainty), 0.5);
        Assert.Equal("standard", b.Parts[0].Source);
    }

    /// <summary>JCGM 100 table G.2, Student's t (two-sided).</summary>
    [Theory]
    [InlineData(0.95, 1, 12.71)]
    [InlineData(0.95, 5, 2.57)]
    [InlineData(0.95, 10, 2.23)]
    [InlineData(0.95, 50, 2.01)]
    [InlineData(0.99, 10, 3.17)]
    [InlineData(0.6827, 1, 1.84)]
    [InlineData(0.6827, double.PositiveInfinity, 1.000)]
    [InlineData(0.95, double.PositiveInfinity, 1.960)]
    [InlineData(0.99, double.PositiveInfinity, 2.576)]
    public void Coverage_factors_follow_the_table(double probability, double degrees, double k) =>
        Assert.Equal(k, UncertaintyBudget.TwoSidedFactor(probability, degrees), 0.0051);

    /// <summary>JCGM 100 clause 5.2.2, example: ten resistors calibrated against one standard, fully correlated, add linearly:
    /// 10 x 100 mohm = 1 ohm (from memory).</summary>
    [Fact]
    public void Fully_correlated_resistors_add_linearly()
    {
        var pairs = new List<BudgetCorrelation>();
        for (int i = 0; i < 10; i++)
        {
            for (int j = i + 1; j < 10; j++)
            {
                pairs.Add(new BudgetCorrelation(i, j, 1));
            }
        }

        UncertaintyBudget b = UncertaintyBudget.Combine(new BudgetRequest
        {
            Value = 10000,
            Unit = "ohm",
            Entries = [.. Enumerable.Range(0, 10).Select(i => new BudgetEntry { Source = $"R{i}", Uncertainty = 0.1 })],
            Correlations = pairs,
        });
        Assert.Equal(1.0, b.Result.Uncertainty, 12);
    }

    [Fact]
    public void Two_equal_entries_that_cancel_leave_nothing()
    {
        UncertaintyBudget b = UncertaintyBudget.Combine(new BudgetRequest
        {
            Value = 0,
            Entries = [new BudgetEntry { Source = "a", Uncertainty = 3 }, new BudgetEntry { Source = "b", Uncertainty = 3, Sensitivity = -1 }],
            Correlations = [new BudgetCorrelation(0, 1, 1)],
        });
        Assert.Equal(0, b.Result.Uncertainty, 12);
    }

    /// <summary>Second moments of the three shapes by a sum over their densities: the definition itself.</summary>
    [Fact]
    public void Type_B_widths_are_the_second_moments()
    {
        const int N = 200000;
        double flat = 0, triangle = 0, arcsine = 0;
        for (int i = 0; i < N; i++)
        {
            double p = (i + 0.5) / N;
            double x = (2 * p) - 1;
            flat += x * x / N;
            double t = p < 0.5 ? Math.Sqrt(2 * p) - 1 : 1 - Math.Sqrt(2 * (1 - p));
            triangle += t * t / N;
            double s = Math.Sin(Math.PI * (p - 0.5));
            arcsine += s * s / N;
        }

        Assert.Equal(Math.Sqrt(flat), StandardUncertainty.Rectangular(1), 1e-6);
        Assert.Equal(Math.Sqrt(triangle), StandardUncertainty.Triangular(1), 1e-6);
        Assert.Equal(Math.Sqrt(arcsine), StandardUncertainty.Arcsine(1), 1e-6);
    }

    [Fact]
    public void Random_and_systematic_parts_make_the_whole() =>
        Gen.Double[0.01, 100].Array[2, 8].Sample(us =>
        {
            UncertaintyBudget b = UncertaintyBudget.Combine(new BudgetRequest
            {
                Value = 1,
                Entries = [.. us.Select((u, i) => new BudgetEntry { Source = $"{i}", Uncertainty = u, Averages = i % 2 == 0 })],
            });
            double whole = Math.Sqrt((b.RandomPart * b.RandomPart) + (b.SystematicPart * b.SystematicPart));
            return Math.Abs(whole - b.Result.Uncertainty) < 1e-12 * whole && Math.Abs(b.Parts.Sum(p => p.Share) - 1) < 1e-12;
        });

    [Theory]
    [InlineData(-1, 10)]
    [InlineData(double.NaN, 10)]
    [InlineData(1, 0.5)]
    public void Impossible_entries_are_refused_by_name(double uncertainty, double degrees)
    {
        InputException e = Assert.Throws<InputException>(() => UncertaintyBudget.Combine(new BudgetRequest
        {
            Value = 1,
            Entries = [new BudgetEntry { Source = "pitch", Uncertainty = uncertainty, DegreesOfFreedom = degrees }],
        }));
        Assert.Contains("'pitch'", e.Message, StringComparison.Ordinal);
    }
}
