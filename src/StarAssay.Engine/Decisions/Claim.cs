using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>Who says so.</summary>
public enum ClaimKind
{
    /// <summary>The maker or seller states it.</summary>
    Claim,

    /// <summary>The user needs it.</summary>
    Requirement,
}

/// <summary>A range that a quantity shall lie in.</summary>
public sealed record Claim
{
    /// <summary>Short name for tables.</summary>
    public required string Name { get; init; }

    /// <summary>Claim or requirement.</summary>
    public ClaimKind Kind { get; init; }

    /// <summary>Least value allowed; minus infinity when there is none.</summary>
    public double Lower { get; init; } = double.NegativeInfinity;

    /// <summary>Largest value allowed; infinity when there is none.</summary>
    public double Upper { get; init; } = double.PositiveInfinity;

    /// <summary>Unit of both.</summary>
    public string Unit { get; init; } = string.Empty;

    /// <summary>"at least 0.95", for sentences.</summary>
    public string Range => (double.IsFinite(Lower), double.IsFinite(Upper)) switch
    {
        (true, true) => $"between {Words.Plain(Lower)} and {Words.Plain(Upper, Unit)}",
        (true, false) => $"at least {Words.Plain(Lower, Unit)}",
        _ => $"at most {Words.Plain(Upper, Unit)}",
    };

    /// <summary>"claim" or "requirement", for sentences.</summary>
    internal string Word => Kind == ClaimKind.Claim ? "claim" : "requirement";

    internal void RequireValid()
    {
        if (double.IsNaN(Lower) || double.IsNaN(Upper) || !(Lower < Upper) || (double.IsInfinity(Lower) && double.IsInfinity(Upper)))
        {
            throw new InputException("decision.claim", $"'{Name}' allows no range: its least value is {Lower} and its largest {Upper}. Give at_least, " +
                "at_most or both, the smaller first.", "claim", Name);
        }
    }
}
