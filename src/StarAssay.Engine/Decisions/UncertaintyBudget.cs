using MathNet.Numerics.Distributions;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>One source of uncertainty that is to be combined with others.</summary>
public sealed record BudgetEntry : BudgetLine
{
    /// <summary>Standard uncertainty of the input quantity, in the input's unit; at least 0.</summary>
    public required double Uncertainty { get; init; }

    /// <summary>Change of the result for one unit of the input.</summary>
    public double Sensitivity { get; init; } = 1;

    /// <summary>Degrees of freedom; infinite when the uncertainty itself is taken as known.</summary>
    public double DegreesOfFreedom { get; init; } = double.PositiveInfinity;
}

/// <summary>Correlation of two entries, named by their place in the list from 0.</summary>
/// <param name="First">One entry.</param>
/// <param name="Second">Another.</param>
/// <param name="Coefficient">Between -1 and 1.</param>
public sealed record BudgetCorrelation(int First, int Second, double Coefficient);

/// <summary>What is to be combined.</summary>
public sealed record BudgetRequest
{
    /// <summary>The result's value.</summary>
    public required double Value { get; init; }

    /// <summary>Its unit.</summary>
    public string Unit { get; init; } = string.Empty;

    /// <summary>Every source of uncertainty.</summary>
    public required IReadOnlyList<BudgetEntry> Entries { get; init; }

    /// <summary>Pairs of entries that are not independent.</summary>
    public IReadOnlyList<BudgetCorrelation> Correlations { get; init; } = [];

    /// <summary>Probability that the expanded interval is to hold.</summary>
    public double CoverageProbability { get; init; } = 0.95;
}

/// <summary>One entry's part in the result.</summary>
public sealed record BudgetPart : BudgetLine
{
    /// <summary>|sensitivity| times uncertainty, in the result's unit.</summary>
    public required double Contribution { get; init; }

    /// <summary>Its square over the sum of all squares, 0 to 1.</summary>
    public required double Share { get; init; }
}

/// <summary>A result with all of its sources of uncertainty.</summary>
/// <param name="Result">Value and combined standard uncertainty (k = 1).</param>
/// <param name="DegreesOfFreedom">Effective degrees of freedom.</param>
/// <param name="CoverageProbability">As asked.</param>
/// <param name="CoverageFactor">k of the expanded uncertainty, from Student's t.</param>
/// <param name="ExpandedUncertainty">k times the combined standard uncertainty.</param>
/// <param name="RandomPart">Combined standard uncertainty of what averages out.</param>
/// <param name="SystematicPart">Combined standard uncertainty of what does not.</param>
/// <param name="Parts">Every entry's part, largest first.</param>
public sealed record UncertaintyBudget(
    Measured Result,
    double DegreesOfFreedom,
    double CoverageProbability,
    double CoverageFactor,
    double ExpandedUncertainty,
    double RandomPart,
    double SystematicPart,
    IReadOnlyList<BudgetPart> Parts)
{
    /// <summary>Combines the entries by the law of propagation of uncertainty.</summary>
    /// <remarks>In the sense of JCGM 100:2008 (GUM), clause 5 and annex G (Welch-Satterthwaite; named from memory). That
    /// formula wants independent inputs; with correlations the least degrees of freedom of any correlated entry are used
    /// in its place when they are fewer, which errs to the wide side. Fractional degrees of freedom are cut down to
    /// whole ones, as the GUM does.</remarks>
    [EngineTask("decisions.budget")]
    public static UncertaintyBudget Combine(BudgetRequest request)
    {
        Check(request);
        double[] parts = [.. request.Entries.Select(e => e.Sensitivity * e.Uncertainty)];
        double squares = parts.Sum(p => p * p);
        double variance = squares;
        foreach (BudgetCorrelation c in request.Correlations)
        {
            variance += 2 * c.Coefficient * parts[c.First] * parts[c.Second];
        }

        double combined = Math.Sqrt(Math.Max(variance, 0));
        double degrees = Degrees(request, parts, combined);
        double whole = double.IsFinite(degrees) ? Math.Max(Math.Floor(degrees), 1) : degrees;
        double k = TwoSidedFactor(request.CoverageProbability, whole);
        double RootOf(bool random) => Math.Sqrt(parts.Zip(request.Entries).Where(x => x.Second.Averages == random).Sum(x => x.First * x.First));
        return new UncertaintyBudget(
            new Measured(request.Value, combined, request.Unit),
            degrees,
            request.CoverageProbability,
            k,
            k * combined,
            RootOf(true),
            RootOf(false),
            [.. request.Entries
                .Select((e, i) => new BudgetPart
                {
                    Source = e.Source,
                    Kind = e.Kind,
                    Input = e.Input,
                    Contribution = Math.Abs(parts[i]),
                    Share = squares > 0 ? parts[i] * parts[i] / squares : 0,
                    Averages = e.Averages,
                })
                .OrderByDescending(p => p.Contribution)]);
    }

    /// <summary>k that makes plus or minus k standard uncertainties hold the given probability.</summary>
    /// <param name="probability">Between 0 and 1, both excluded.</param>
    /// <param name="degreesOfFreedom">At least 1; infinite for the normal distribution.</param>
    public static double TwoSidedFactor(double probability, double degreesOfFreedom) =>
        OneSidedFactor(0.5 * (1 + probability), degreesOfFreedom);

    /// <summary>k such that a value exceeds minus k standard uncertainties with the given probability.</summary>
    /// <param name="probability">Between 0 and 1, both excluded.</param>
    /// <param name="degreesOfFreedom">At least 1; infinite for the normal distribution.</param>
    public static double OneSidedFactor(double probability, double degreesOfFreedom) =>
        double.IsFinite(degreesOfFreedom) ? StudentT.InvCDF(0, 1, degreesOfFreedom, probability) : Normal.InvCDF(0, 1, probability);

    private static double Degrees(BudgetRequest request, double[] parts, double combined)
    {
        double sum = 0;
        for (int i = 0; i < parts.Length; i++)
        {
            sum += Math.Pow(parts[i], 4) / request.Entries[i].DegreesOfFreedom;
        }

        double degrees = sum > 0 ? Math.Pow(combined, 4) / sum : double.PositiveInfinity;
        foreach (BudgetCorrelation c in request.Correlations.Where(c => c.Coefficient != 0))
        {
            degrees = Math.Min(degrees, Math.Min(request.Entries[c.First].DegreesOfFreedom, request.Entries[c.Second].DegreesOfFreedom));
        }

        return degrees;
    }

    private static void Check(BudgetRequest request)
    {
        if (request.Entries.Count == 0)
        {
            throw new InputException("decision.budget", "The uncertainty budget has no entries. Give at least one source of uncertainty.", "entries");
        }

        InputException.RequireRange(request.CoverageProbability, 0.01, 0.9999, "coverage_probability", string.Empty);
        foreach (BudgetEntry e in request.Entries)
        {
            if (!(e.Uncertainty >= 0) || !double.IsFinite(e.Uncertainty) || !double.IsFinite(e.Sensitivity))
            {
                throw new InputException("decision.budget",
                    $"The budget's entry '{e.Source}' has an uncertainty that is no number of at least 0. Correct it or leave it out.", "entries", e.Source);
            }

            if (!(e.DegreesOfFreedom >= 1))
            {
                throw new InputException("decision.budget",
                    $"The budget's entry '{e.Source}' has {e.DegreesOfFreedom} degrees of freedom; at least 1 is needed.", "entries", e.Source);
            }
        }

        foreach (BudgetCorrelation c in request.Correlations)
        {
            bool named = c.First != c.Second && Math.Min(c.First, c.Second) >= 0 && Math.Max(c.First, c.Second) < request.Entries.Count;
            if (!named || !(Math.Abs(c.Coefficient) <= 1))
            {
                throw new InputException("decision.budget",
                    $"The correlation {c.Coefficient} between entries {c.First} and {c.Second} is not possible. "
                    + "Name two different entries, counted from 0, and a coefficient from -1 to 1.", "correlations");
            }
        }
    }
}
