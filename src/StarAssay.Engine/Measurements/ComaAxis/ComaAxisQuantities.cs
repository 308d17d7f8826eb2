using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ComaAxis;

/// <summary>What a claim about the coma-free axis can be about.</summary>
[QuantityList("coma_axis")]
public static class ComaAxisQuantities
{
    public static readonly QuantityDefinition Distance = new("coma_free_distance",
        "distance of the coma-free axis from the middle of the sensor", "um", 0, double.PositiveInfinity, false, Stars)
    {
        OnlyMendedBy = ["coma"],
    };

    private const string Stars =
        "Take three or more bright stars out of focus at different places of the sensor, in one frame or pair, and list it under [[coma_axis]].";
}
