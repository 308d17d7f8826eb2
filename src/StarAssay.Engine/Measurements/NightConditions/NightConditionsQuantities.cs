using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.NightConditions;

/// <summary>What a claim about a night can be about.</summary>
[QuantityList("night_conditions")]
public static class NightConditionsQuantities
{
    public static readonly QuantityDefinition Zenith = new("zenith_fwhm", "FWHM of the night, reduced to the zenith and 500 nm", "arcsec", 0,
        double.PositiveInfinity, false, Frames)
    {
        DependsOn = DependsOn.Night,
    };
    public static readonly QuantityDefinition Best = new("best_fwhm", "FWHM of the night's best frames", "arcsec", 0, double.PositiveInfinity, false, Frames)
    {
        DependsOn = DependsOn.Air,
    };

    private const string Frames = "Take star frames through the night and list them under [[night_conditions]].";
}
