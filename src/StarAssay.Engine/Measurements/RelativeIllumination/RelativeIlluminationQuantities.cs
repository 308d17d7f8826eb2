using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.RelativeIllumination;

/// <summary>What a claim about the evenness of light can be about.</summary>
[QuantityList("relative_illumination")]
public static class RelativeIlluminationQuantities
{
    public static readonly QuantityDefinition Corner = new("corner_illumination", "relative illumination of the darkest corner", "", 0, 1.5, true, Flat)
    {
        DependsOn = DependsOn.Format,
        OnlyMendedBy = ["the adapter"],
    };
    public static readonly QuantityDefinition Circle90 = new("image_circle90", "image circle with 90 % of the light", "mm", 0, double.PositiveInfinity, true,
        Flat)
    {
        OnlyMendedBy = ["the adapter"],
    };
    public static readonly QuantityDefinition Circle50 = new("image_circle50", "image circle with half of the light", "mm", 0, double.PositiveInfinity, true,
        Flat)
    {
        OnlyMendedBy = ["the adapter"],
    };

    private const string Flat = "Take a flat field or twilight sky with the telescope as it is used, unclipped, and list it under [[relative_illumination]] " +
        "with its bias.";
}
