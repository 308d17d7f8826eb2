using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Alignment;

/// <summary>What a claim about the alignment can be about.</summary>
[QuantityList("alignment")]
public static class AlignmentQuantities
{
    public static readonly QuantityDefinition Decentre = new("decentre",
        "decentre of the rings by coma, as a share of the blur radius", "", 0, double.PositiveInfinity, false, Star)
    {
        OnlyMendedBy = ["coma"],
    };
    public static readonly QuantityDefinition Coma = new("alignment_coma",
        "coma by the rings of a defocused star, RMS by circle polynomials", "nm", 0, double.PositiveInfinity, false, Star)
    {
        OnlyMendedBy = ["coma"],
    };

    private const string Star = "Take a bright star out of focus in the middle of the field, on both sides of focus, and list it under [[alignment]].";
}
