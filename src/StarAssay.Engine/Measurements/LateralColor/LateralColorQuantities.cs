using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.LateralColor;

/// <summary>What a claim about lateral color can be about.</summary>
[QuantityList("lateral_color")]
public static class LateralColorQuantities
{
    public static readonly QuantityDefinition Corner = new("lateral_color",
        "lateral color at the corners of the sensor", "um", 0, double.PositiveInfinity, false, Field)
    {
        DependsOn = DependsOn.Format,
    };
    public static readonly QuantityDefinition Angle = new("lateral_color_angle",
        "lateral color at the corners of the sensor, on the sky", "arcsec", 0, double.PositiveInfinity, false, Field)
    {
        DependsOn = DependsOn.Format,
    };

    private const string Field = "Take a rich star field with a color camera, or one frame a filter, and list it under [[lateral_color]].";
}
