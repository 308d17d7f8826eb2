using System.Globalization;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>A claim about a quantity, and what was measured.</summary>
public sealed record JudgmentRequest
{
    /// <summary>The range that must be kept.</summary>
    public required Claim Claim { get; init; }

    /// <summary>Name of the quantity that the claim is about (<see cref="QuantityCatalog"/>).</summary>
    public required string Quantity { get; init; }

    /// <summary>Wavelength for which the claim is made; NaN when it names none.</summary>
    public double WavelengthNm { get; init; } = double.NaN;

    /// <summary>What was measured, in the order in which the tests are to be asked: the first that gives the quantity decides.</summary>
    public IReadOnlyList<Quantity> Measured { get; init; } = [];

    /// <summary>How many of the claim's units are one of the quantity's (0.001 for a claim in um about a quantity in nm).</summary>
    public double UnitFactor { get; init; } = 1;

    /// <summary>Largest accepted probability that "met" or "not met" is wrong.</summary>
    public double Risk { get; init; } = 0.05;

    /// <summary>Further reasons why the number must not decide, each a sentence.</summary>
    public IReadOnlyList<string> Doubts { get; init; } = [];
}

/// <summary>Holds claims against measured quantities: the whole way from a result to a verdict.</summary>
public static class Judgment
{
    /// <summary>Relative difference up to which two wavelengths are taken as one: less than what filters are specified to
    /// (common practice, no source).</summary>
    public const double SameWavelength = 0.02;

    /// <summary>Decides a claim by the first quantity of its name, or says which test is missing.</summary>
    [EngineTask("decisions.judge")]
    public static Decision Of(JudgmentRequest request)
    {
        QuantityDefinition kind = QuantityCatalog.Find(request.Quantity);
        Claim claim = request.Claim;
        InputException.RequireRange(request.UnitFactor, double.Epsilon, double.MaxValue, "unit_factor", string.Empty);
        Quantity? value = request.Measured.FirstOrDefault(q => q.Name == request.Quantity);
        if (value is null)
        {
            return Decision.Decide(new DecisionRequest { Claim = claim, Risk = request.Risk, MissingTest = kind.Missing });
        }

        if (request.UnitFactor == 1 && claim.Unit != value.Value.Unit)
        {
            throw new InputException("decision.unit", $"'{claim.Name}' is in '{claim.Unit}', the {kind.Label} in '{value.Value.Unit}'. Give the claim in " +
                "that unit, or the factor between them.", "claim", claim.Name);
        }

        string other = OtherConditions(request.WavelengthNm, value.WavelengthNm);
        string[] doubts = [.. value.Doubts.Concat(request.Doubts).Distinct()];
        double factor = request.UnitFactor;
        return Decision.Decide(new DecisionRequest
        {
            Claim = claim,
            Value = value.Value.Value * factor,
            Uncertainty = value.Value.Uncertainty * factor,
            RandomPart = value.RandomPart * factor,
            MayBeLess = value.MayBeLess * factor,
            MayBeMore = value.MayBeMore * factor,
            DegreesOfFreedom = value.DegreesOfFreedom,
            Count = value.Count,
            Counted = value.Counted,
            Risk = request.Risk,
            Doubts = doubts,
            OtherConditions = other,
            MissingTest = other.Length > 0 ? $"Measure at {Nm(request.WavelengthNm)}."
                : doubts.Length > 0 ? "Take the frames again as the doubt advises."
                : kind.Missing,
        });
    }

    /// <summary>Decides a claim by what one measurement gave.</summary>
    /// <param name="claim">The range.</param>
    /// <param name="kind">The quantity that it is about.</param>
    /// <param name="result">The measurement.</param>
    /// <param name="wavelengthNm">Wavelength for which the claim is made; NaN when it names none.</param>
    /// <param name="risk">Largest accepted probability that "met" or "not met" is wrong.</param>
    public static Decision Of(Claim claim, QuantityDefinition kind, IMeasurementResult result, double wavelengthNm = double.NaN, double risk = 0.05) =>
        Of(new JudgmentRequest { Claim = claim, Quantity = kind.Name, Measured = result.Quantities, WavelengthNm = wavelengthNm, Risk = risk });

    private static string OtherConditions(double statedNm, double measuredNm) => Math.Abs((measuredNm / statedNm) - 1) > SameWavelength
        ? $"Measured at {Nm(measuredNm)}, but stated at {Nm(statedNm)}; the one cannot be had from the other without knowing the color error."
        : string.Empty;

    private static string Nm(double wavelengthNm) => wavelengthNm.ToString("G4", CultureInfo.InvariantCulture) + " nm";
}
