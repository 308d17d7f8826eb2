using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>What a claim about a star field can be about.</summary>
[QuantityList("stars")]
public static class StarQuantities
{
    public static readonly QuantityDefinition Fwhm = new("star_fwhm", "star FWHM, median", "arcsec", 0, double.PositiveInfinity, false, Field)
    {
        DependsOn = DependsOn.Air,
    };
    public static readonly QuantityDefinition Hfr = new("star_hfr", "half-flux radius, median", "arcsec", 0, double.PositiveInfinity, false, Field)
    {
        DependsOn = DependsOn.Air,
    };
    public static readonly QuantityDefinition Ellipticity = new("star_ellipticity", "star ellipticity, typical", "", 0, 1, false, Field)
    {
        DependsOn = DependsOn.Air,
    };
    public static readonly QuantityDefinition CornerRatio = new("corner_ratio", "half-flux radius, edge over center", "", 0, double.PositiveInfinity, false,
        Field)
    {
        DependsOn = DependsOn.Air | DependsOn.Format,
    };

    private const string Field = "Take a well-focused star field and list it under [[stars]].";
}
