using MathNet.Numerics.Distributions;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>One quantity measured on two instruments on the same footing.</summary>
public sealed record ComparisonRequest
{
    /// <summary>Name of the quantity.</summary>
    public required string Quantity { get; init; }

    /// <summary>Name of the first instrument.</summary>
    public required string FirstName { get; init; }

    /// <summary>Name of the second.</summary>
    public required string SecondName { get; init; }

    /// <summary>Value on the first.</summary>
    public required double First { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    public required double FirstUncertainty { get; init; }

    /// <summary>Value on the second.</summary>
    public required double Second { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    public required double SecondUncertainty { get; init; }

    /// <summary>Correlation of the two (same camera, same night): -1 to 1.</summary>
    public double Correlation { get; init; }

    /// <summary>Unit of both.</summary>
    public string Unit { get; init; } = string.Empty;

    /// <summary>True when a larger value is the better one.</summary>
    public bool LargerIsBetter { get; init; } = true;

    /// <summary>Coverage factor of the score.</summary>
    public double CoverageFactor { get; init; } = 2;
}

/// <summary>Which is better.</summary>
public enum Ranking
{
    /// <summary>The first.</summary>
    First,

    /// <summary>The second.</summary>
    Second,

    /// <summary>The data do not tell them apart.</summary>
    NotToldApart,
}

/// <summary>Two instruments compared in one quantity.</summary>
/// <param name="Ranking">The better one, when the score exceeds 1.</param>
/// <param name="Difference">First minus second.</param>
/// <param name="Score">Difference over its expanded uncertainty, as the En number of proficiency tests.</param>
/// <param name="ProbabilityFirstBetter">From the normal distribution about the difference.</param>
/// <param name="Reason">One sentence.</param>
public sealed record Comparison(Ranking Ranking, Measured Difference, double Score, double ProbabilityFirstBetter, string Reason)
{
    /// <summary>Compares.</summary>
    /// <remarks>The score is the En number in the sense of ISO/IEC 17043 (named from memory): (a - b) / (k u(a - b)).</remarks>
    [EngineTask("decisions.compare")]
    public static Comparison Of(ComparisonRequest request)
    {
        InputException.RequireRange(request.Correlation, -1, 1, "correlation", string.Empty);
        InputException.RequireRange(request.CoverageFactor, 1, 5, "coverage_factor", string.Empty);
        double difference = request.First - request.Second;
        double variance = (request.FirstUncertainty * request.FirstUncertainty) + (request.SecondUncertainty * request.SecondUncertainty)
            - (2 * request.Correlation * request.FirstUncertainty * request.SecondUncertainty);
        if (!double.IsFinite(difference) || !(variance > 0) || !double.IsFinite(variance))
        {
            throw new CannotMeasureException("decision.comparison",
                $"{request.Quantity} of {request.FirstName} and {request.SecondName} cannot be compared: both need a value with an uncertainty. See the " +
                    "notes of their measurements.", request.Quantity);
        }

        double u = Math.Sqrt(variance);
        double score = difference / (request.CoverageFactor * u);
        double better = Normal.CDF(0, 1, (request.LargerIsBetter ? difference : -difference) / u);
        Ranking ranking = Math.Abs(score) <= 1 ? Ranking.NotToldApart
            : difference > 0 == request.LargerIsBetter ? Ranking.First : Ranking.Second;
        var measured = new Measured(difference, u, request.Unit);
        string who = ranking switch
        {
            Ranking.First => $"{request.FirstName} is the better one",
            Ranking.Second => $"{request.SecondName} is the better one",
            _ => $"{request.FirstName} and {request.SecondName} are not told apart by these data",
        };
        return new Comparison(ranking, measured, score, better, $"{request.Quantity}: {who} (difference {Words.PlusMinus(measured)}, score {score:F1}).");
    }
}
