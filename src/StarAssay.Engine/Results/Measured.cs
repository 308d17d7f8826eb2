namespace StarAssay.Engine.Results;

/// <summary>One measured number: value, standard uncertainty (k = 1) and unit.</summary>
/// <param name="Value">The value; NaN where nothing could be measured, with a note that says why.</param>
/// <param name="Uncertainty">Standard uncertainty in the same unit; NaN where it is not known.</param>
/// <param name="Unit">Unit in Astropy's generic spelling, for example "nm", "um", "arcsec", "pix", "" for a ratio.</param>
public readonly record struct Measured(double Value, double Uncertainty, string Unit)
{
    /// <summary>A number that was not measured: NaN with a unit.</summary>
    public static Measured None(string unit) => new(double.NaN, double.NaN, unit);
}
