using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>What a claim about the wavefront over the field can be about.</summary>
[QuantityList("wavefront_field")]
public static class WavefrontFieldQuantities
{
    public static readonly QuantityDefinition SensorTilt = new("field_sensor_tilt", "tilt of the sensor by a defocused pair, from corner to corner", "um", 0,
        double.PositiveInfinity, false, Pair)
    {
        DependsOn = DependsOn.Format,
        MendedBy = "the sensor's tilt",
    };
    public static readonly QuantityDefinition CurvatureSag = new("field_curvature_sag",
        "field curvature by a defocused pair, focus of the corner less that of the middle", "um", double.NegativeInfinity, double.PositiveInfinity, null, Pair)
    {
        DependsOn = DependsOn.Format,
        OnlyMendedBy = ["the spacing"],
    };
    public static readonly QuantityDefinition ComaConstant = new("field_coma_constant", "coma in the middle of the sensor, RMS", "nm", 0,
        double.PositiveInfinity, false, Pair)
    {
        OnlyMendedBy = ["coma"],
    };
    public static readonly QuantityDefinition ComaLinear = new("field_coma_linear", "coma that grows with the field, RMS at the corner", "nm",
        double.NegativeInfinity, double.PositiveInfinity, null, Pair)
    {
        DependsOn = DependsOn.Format,
    };
    public static readonly QuantityDefinition ComaFreeDistance = new("field_coma_free_distance",
        "distance of the place without coma from the middle of the sensor", "um", 0, double.PositiveInfinity, false, Pair)
    {
        OnlyMendedBy = ["coma"],
    };
    public static readonly QuantityDefinition AstigmatismConstant = new("field_astigmatism_constant", "astigmatism in the middle of the sensor, RMS", "nm", 0,
        double.PositiveInfinity, false, Pair)
    {
        OnlyMendedBy = ["astigmatism"],
    };
    public static readonly QuantityDefinition AstigmatismLinear = new("field_astigmatism_linear", "astigmatism that grows with the field, RMS at the corner",
        "nm", 0, double.PositiveInfinity, false, Pair)
    {
        DependsOn = DependsOn.Format,
    };
    public static readonly QuantityDefinition AstigmatismQuadratic = new("field_astigmatism_quadratic",
        "astigmatism that grows with the squared field, RMS at the corner", "nm", double.NegativeInfinity, double.PositiveInfinity, null, Pair)
    {
        DependsOn = DependsOn.Format,
    };
    public static readonly QuantityDefinition Spherical = new("field_spherical", "spherical aberration over the field, RMS with its sign", "nm",
        double.NegativeInfinity, double.PositiveInfinity, null, Pair)
    {
        OnlyMendedBy = ["spherical aberration"],
    };
    public static readonly QuantityDefinition RmsSensor = new("field_wavefront_rms",
        "wavefront error of the low modes over the whole sensor, focus included, RMS", "nm", 0, double.PositiveInfinity, false, Pair)
    {
        DependsOn = DependsOn.Format,
    };

    private const string Pair =
        "Take one rich star field 5 to 8 waves inside and outside of focus through a narrow filter and list both frames under [[wavefront_field]].";
}
