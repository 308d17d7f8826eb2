using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What a claim about color focus can be about.</summary>
[QuantityList("color_focus")]
public static class ColorFocusQuantities
{
    public static readonly QuantityDefinition InFocusFraction = new("in_focus_fraction", "in-focus fraction of the light", "", 0, 1, true, Spectrum)
    {
        MendedBy = string.Empty,
    };
    public static readonly QuantityDefinition PolychromaticStrehl = new("polychromatic_strehl", "polychromatic Strehl ratio of the color focus alone", "", 0,
        1, true, Spectrum)
    {
        MendedBy = string.Empty,
    };
    public static readonly QuantityDefinition FocusRange = new("focus_range", "range of the color focus curve", "um", 0, double.PositiveInfinity, false,
        Spectrum)
    {
        MendedBy = string.Empty,
    };

    private const string Spectrum = "Take the spectrum of an A, F or G star and list it under [[color_focus]].";
}
