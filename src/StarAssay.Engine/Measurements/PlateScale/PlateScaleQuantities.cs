using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.PlateScale;

/// <summary>What a claim about the plate scale can be about.</summary>
[QuantityList("plate_scale")]
public static class PlateScaleQuantities
{
    public static readonly QuantityDefinition FocalLength = new("focal_length", "focal length", "mm", 0, double.PositiveInfinity, null, Frame)
    {
        OnlyMendedBy = ["the spacing"],
    };
    public static readonly QuantityDefinition ReducerFactor = new("reducer_factor", "reducer factor", "", 0, double.PositiveInfinity, null,
        Frame + " Give nominal_focal_length with it.")
    {
        OnlyMendedBy = ["the spacing"],
    };
    public static readonly QuantityDefinition FocalRatio = new("focal_ratio", "focal ratio", "", 0, double.PositiveInfinity, null,
        Frame + " Give the aperture with it.")
    {
        OnlyMendedBy = ["the spacing"],
    };
    public static readonly QuantityDefinition DistortionEdge = new("distortion_edge", "distortion at the corner of the frame", "%", -100, 1000, null, Frame)
    {
        DependsOn = DependsOn.Format,
        OnlyMendedBy = ["the spacing"],
    };
    public static readonly QuantityDefinition FieldOfViewDiagonal = new("field_of_view_diagonal", "diagonal field of view", "deg", 0, 180, null, Frame)
    {
        DependsOn = DependsOn.Format,
        OnlyMendedBy = ["the spacing"],
    };

    private const string Frame = "Take a star field, solve it (or list sky positions of its stars), and list it under [[plate_scale]].";
}
