using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Spacing;

/// <summary>What a claim about the spacing can be about.</summary>
[QuantityList("spacing")]
public static class SpacingQuantities
{
    public static readonly QuantityDefinition Best = new("best_spacing",
        "distance between reducer or flattener and sensor for a flat field", "mm", double.NegativeInfinity, double.PositiveInfinity, null, Runs)
    {
        OnlyMendedBy = ["the spacing"],
    };
    public static readonly QuantityDefinition Change = new("spacing_change",
        "what to add to the distance between reducer or flattener and sensor", "mm", double.NegativeInfinity, double.PositiveInfinity, null, Runs)
    {
        MendedBy = "the spacing",
    };

    private const string Runs =
        "Take a focus run at three or more distances between reducer or flattener and sensor and list the frames under [[spacing]].";
}
