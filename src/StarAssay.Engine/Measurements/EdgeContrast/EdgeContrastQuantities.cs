using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.EdgeContrast;

/// <summary>What a claim about an edge can be about.</summary>
[QuantityList("edge_contrast")]
public static class EdgeContrastQuantities
{
    public static readonly QuantityDefinition Width = new("edge_width", "width of an edge from 10 to 90 %", "um", 0, double.PositiveInfinity, false, Edge)
    {
        DependsOn = DependsOn.Air,
    };
    public static readonly QuantityDefinition Mtf50 = new("mtf50", "frequency at which half of the contrast is left, pixel taken out", "1 / mm", 0,
        double.PositiveInfinity, true, Edge)
    {
        DependsOn = DependsOn.Air,
    };
    public static readonly QuantityDefinition EdgeGlare = new("edge_glare", "light in the dark beside a bright edge", "", 0, 1, false, Level)
    {
        DependsOn = DependsOn.Air,
    };
    public static readonly QuantityDefinition GlareIndex = new("glare_index", "veiling glare index", "", 0, 1, false,
        "Photograph a small black patch, a box lined with black with a round hole, in the middle of a bright even field that fills the view and more, "
        + "and list it under [[edge_contrast]] with bias_level.");

    private const string Edge = "Photograph the Moon's sunlit limb or a straight bright edge a few degrees off the rows of pixels, unclipped, and list it "
        + "under [[edge_contrast]].";

    private const string Level = "Photograph the Moon's sunlit limb or a bright edge, unclipped, and list it under [[edge_contrast]] with bias_level.";
}
