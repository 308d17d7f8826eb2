using System.Globalization;
using System.Text.Json.Serialization;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>A claim, and what simulated nights would have measured and stated.</summary>
public sealed record ChanceRequest
{
    /// <summary>The claim or requirement.</summary>
    public required Claim Claim { get; init; }

    /// <summary>The value that was true in all nights, in the claim's unit.</summary>
    public required double Truth { get; init; }

    /// <summary>What the nights measured: one row for each number of pairs from 1, one column a night; NaN = a doubt stands against it.</summary>
    [JsonIgnore]
    [HandedOver("values")]
    public double[] Values { get; set; } = [];

    /// <summary>The standard uncertainties that they state, in the same order.</summary>
    [JsonIgnore]
    [HandedOver("uncertainties")]
    public double[] Uncertainties { get; set; } = [];

    /// <summary>Rows of both: how many numbers of pairs were tried.</summary>
    [Field(Low = 1, High = 1000)]
    public required int Rows { get; init; }

    /// <summary>How many of the claim's units are one of the values'.</summary>
    public double UnitFactor { get; init; } = 1;

    /// <summary>Largest accepted probability that "met" or "not met" is wrong.</summary>
    public double Risk { get; init; } = 0.05;

    /// <summary>Share of the nights that shall be decided, and rightly.</summary>
    [Field(Low = 0.5, High = 0.999)]
    public double Wanted { get; init; } = 0.9;

    /// <summary>What is counted, in the plural: "pairs of 20 s".</summary>
    public string Counted { get; init; } = "pairs";
}

/// <summary>How likely it is that so many pairs decide a claim.</summary>
/// <param name="Right">Share of the nights that decided it rightly, by the number of pairs from 1.</param>
/// <param name="Wrong">Share that decided it wrongly.</param>
/// <param name="Needed">Least number of pairs that reaches the wanted share; 0 when none that was tried does.</param>
/// <param name="Reached">The share that is promised for it (for the most pairs when none suffices): what was counted, less the standard error
/// of the count, so that chance in the simulation promises nothing.</param>
/// <param name="Sentence">The promise, with what it rests on.</param>
public sealed record DecidingChance(double[] Right, double[] Wrong, int Needed, double Reached, string Sentence)
{
    /// <summary>Judges every night by the rule for claims (<see cref="Decision"/>) and counts.</summary>
    [EngineTask("decisions.chance")]
    public static DecidingChance Of(ChanceRequest request)
    {
        Claim claim = request.Claim;
        claim.RequireValid();
        InputException.RequireRange(request.Wanted, 0.5, 0.999, "wanted", "");
        InputException.RequireRange(request.Rows, 1, 1000, "rows", "");
        if (request.Values.Length == 0 || request.Values.Length % request.Rows != 0 || request.Uncertainties.Length != request.Values.Length)
        {
            throw new InputException("decision.chance", $"{request.Values.Length} values and {request.Uncertainties.Length} uncertainties do not make " +
                $"{request.Rows} rows of nights.", "values");
        }

        int nights = request.Values.Length / request.Rows;
        Verdict truth = request.Truth >= claim.Lower && request.Truth <= claim.Upper ? Verdict.Met : Verdict.NotMet;
        double[] right = new double[request.Rows], wrong = new double[request.Rows];
        for (int row = 0; row < request.Rows; row++)
        {
            for (int night = 0; night < nights; night++)
            {
                int at = (row * nights) + night;
                if (!double.IsFinite(request.Values[at]))
                {
                    continue;
                }

                Verdict verdict = Decision.Decide(new DecisionRequest
                {
                    Claim = claim,
                    Value = request.Values[at] * request.UnitFactor,
                    Uncertainty = request.Uncertainties[at] * request.UnitFactor,
                    Risk = request.Risk,
                }).Verdict;
                right[row] += verdict == truth ? 1.0 / nights : 0;
                wrong[row] += verdict != truth && verdict != Verdict.NotDecided ? 1.0 / nights : 0;
            }
        }

        double[] promised = [.. right.Select(p => p - Math.Sqrt(Math.Max(p * (1 - p), 1.0 / nights) / nights))];
        int needed = Array.FindIndex(promised, p => p >= request.Wanted) + 1;
        double reached = promised[needed > 0 ? needed - 1 : Array.IndexOf(promised, promised.Max())];
        return new DecidingChance(right, wrong, needed, reached, Promise(request, needed, reached));
    }

    private static string Promise(ChanceRequest request, int needed, double reached)
    {
        string share = Math.Floor(100 * Math.Max(0, reached)).ToString("F0", CultureInfo.InvariantCulture) + " %";
        string claim = $"'{request.Claim.Name}' ({request.Claim.Range})";
        string assumed = $"if the true value is {request.Truth.ToString("G4", CultureInfo.InvariantCulture)} {request.Claim.Unit}".TrimEnd();
        if (needed == 0)
        {
            string wanted = Math.Round(100 * request.Wanted).ToString("F0", CultureInfo.InvariantCulture);
            return $"Up to {request.Rows} {request.Counted} do not decide {claim} with {wanted} %, {assumed}: they reach {share}. The value " +
                "is too near to the limit for this telescope, star and air.";
        }

        string pairs = needed == 1 && request.Counted.StartsWith("pairs", StringComparison.Ordinal) ? $"1 pair{request.Counted[5..]} decides"
            : $"{needed} {request.Counted} decide";
        return $"{pairs} {claim} with {share}, {assumed}.";
    }
}
