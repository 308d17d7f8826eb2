using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.FocusSurface;

/// <summary>What a claim about the focus surface can be about.</summary>
[QuantityList("focus_surface")]
public static class FocusSurfaceQuantities
{
    public static readonly QuantityDefinition SensorTilt = new("sensor_tilt", "tilt of the sensor, from corner to corner", "um", 0, double.PositiveInfinity,
        false, Run)
    {
        DependsOn = DependsOn.Format,
        MendedBy = "the sensor's tilt",
    };
    public static readonly QuantityDefinition CurvatureSag = new("curvature_sag", "field curvature, focus of the corner less that of the middle", "um",
        double.NegativeInfinity, double.PositiveInfinity, null, Run)
    {
        DependsOn = DependsOn.Format,
        OnlyMendedBy = ["the spacing"],
    };
    public static readonly QuantityDefinition FocusSpread = new("focus_spread", "best focus over the sensor, largest less least", "um", 0,
        double.PositiveInfinity, false, Run)
    {
        DependsOn = DependsOn.Format,
        OnlyMendedBy = ["the sensor's tilt", "the spacing"],
    };

    public static readonly QuantityDefinition AstigmaticSplit = new("astigmatic_split", "tangential less sagittal focus at the corners", "um",
        double.NegativeInfinity, double.PositiveInfinity, null, Run)
    {
        DependsOn = DependsOn.Format,
        OnlyMendedBy = ["the spacing"],
    };

    private const string Run = "Take a rich star field at five or more focuser positions on both sides of focus and list the frames under [[focus_surface]].";
}
