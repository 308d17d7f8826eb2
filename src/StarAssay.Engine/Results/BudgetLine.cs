namespace StarAssay.Engine.Results;

/// <summary>One source of uncertainty in a budget in the sense of JCGM 100 (GUM). What it does to a result, each budget adds.</summary>
public abstract record BudgetLine
{
    /// <summary>What it comes from, for tables.</summary>
    public required string Source { get; init; }

    /// <summary>How it is known: "A" from the scatter of data, "B" from other knowledge.</summary>
    public string Kind { get; init; } = "B";

    /// <summary>The assumed standard uncertainty of the source, in words.</summary>
    public string Input { get; init; } = string.Empty;

    /// <summary>True when it averages out over more frames: what data scatter by, and turbulence, whatever its kind of evaluation.</summary>
    public bool Averages { get; init; }
}
