using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Reflections;

/// <summary>What a claim about reflections can be about.</summary>
[QuantityList("reflections")]
public static class ReflectionsQuantities
{
    public static readonly QuantityDefinition SpotOffset = new("spot_offset",
        "dark spot out of the middle of the objective's edge, as a share of its radius", "", 0, double.PositiveInfinity, false,
        Photo + "objective and spot.")
    {
        OnlyMendedBy = ["coma"],
    };

    public static readonly QuantityDefinition AxisTilt = new("axis_tilt",
        "tilt of the focuser's axis against the objective's axis", "arcmin", 0, double.PositiveInfinity, false,
        Photo + "objective, spot, sight and the distances.")
    {
        OnlyMendedBy = ["coma"],
    };

    private const string Photo = "Photograph the reflections through a sighting eyepiece and list the photo under [[reflections]] with ";
}
