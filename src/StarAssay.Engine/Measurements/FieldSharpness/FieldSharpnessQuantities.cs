using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>What a claim about the sharpness of the field can be about.</summary>
[QuantityList("field_sharpness")]
public static class FieldSharpnessQuantities
{
    public static readonly QuantityDefinition CornerFwhm = new("corner_fwhm", "FWHM in the corners of the frame", "um", 0, double.PositiveInfinity, false,
        Field)
    {
        DependsOn = DependsOn.Air | DependsOn.Format,
    };
    public static readonly QuantityDefinition CornerFwhmOnSky = new("corner_fwhm_on_sky", "FWHM in the corners of the frame, on the sky", "arcsec", 0,
        double.PositiveInfinity, false, Field + " The focal length or a celestial solution must be known.")
    {
        DependsOn = DependsOn.Air | DependsOn.Format,
    };
    public static readonly QuantityDefinition CornerToCenter = new("corner_to_center", "FWHM in the corners over that in the middle", "", 0,
        double.PositiveInfinity, false, Field)
    {
        DependsOn = DependsOn.Air | DependsOn.Format,
    };
    public static readonly QuantityDefinition CornerEllipticity = new("corner_ellipticity", "ellipticity in the corners of the frame", "", 0, 1, false, Field)
    {
        DependsOn = DependsOn.Air | DependsOn.Format,
    };
    public static readonly QuantityDefinition SharpCircle = new("sharp_circle", "diameter of the circle within which stars stay sharp", "mm", 0,
        double.PositiveInfinity, true, Field)
    {
        DependsOn = DependsOn.Air,
    };

    private const string Field = "Take one rich, well-focused star field and list it under [[field_sharpness]].";
}
