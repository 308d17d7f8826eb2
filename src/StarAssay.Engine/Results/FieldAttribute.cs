using System.Reflection;
using System.Text;

namespace StarAssay.Engine.Results;

/// <summary>
/// What a field's name and type do not say: its unit, where the name does not end in one, and the range a request allows.
/// </summary>
/// <remarks>The name is the same everywhere; a unit at its end (<c>WavelengthNm</c>, <c>OuterRadiusPx</c>) is taken off
/// where values carry their unit themselves.</remarks>
[AttributeUsage(AttributeTargets.Property | AttributeTargets.Parameter)]
public sealed class FieldAttribute : Attribute
{
    /// <summary>Unit in Astropy's generic spelling; empty = from the end of the name, else a pure number.</summary>
    public string Unit { get; init; } = string.Empty;

    /// <summary>For a column of bits: the enumeration that names them.</summary>
    public Type? Flags { get; init; }

    /// <summary>Least value allowed.</summary>
    public double Low { get; init; } = double.NegativeInfinity;

    /// <summary>Largest value allowed.</summary>
    public double High { get; init; } = double.PositiveInfinity;
}

/// <summary>The one rule by which a field's C# name becomes its public name and unit.</summary>
public static class FieldName
{
    // Ends of names with their units, longer ones first where one ends in another.
    private static readonly (string End, string Unit)[] Ends =
    [
        ("ElectronsPerAdu", "electron / adu"), ("NmPerPx", "nm / pix"), ("ArcsecPerPx", "arcsec / pix"), ("PerMm", "1 / mm"),
        ("Nm2", "nm2"), ("Nm", "nm"), ("Um", "um"), ("Mm", "mm"), ("Arcsec", "arcsec"), ("Arcmin", "arcmin"), ("Deg", "deg"),
        ("Px", "pix"), ("Adu", "adu"), ("Electrons", "electron"), ("Kelvin", "K"), ("MPerS", "m / s"), ("S", "s"),
    ];

    /// <summary>Public name of a property, snake case without its unit, and the unit ("" for a pure number).</summary>
    public static (string Name, string Unit) Of(PropertyInfo property)
    {
        string unit = property.GetCustomAttribute<FieldAttribute>()?.Unit ?? string.Empty;
        return Of(property.Name, unit);
    }

    /// <summary>The same from the name and the unit that stands in an attribute (or none).</summary>
    public static (string Name, string Unit) Of(string name, string unit = "")
    {
        foreach ((string end, string of) in Ends)
        {
            // Before a unit stands a small letter or a digit: "Fwhm" ends in no unit.
            if (name.Length > end.Length && name.EndsWith(end, StringComparison.Ordinal) && !char.IsUpper(name[^(end.Length + 1)]))
            {
                return (Snake(name[..^end.Length]), unit.Length > 0 ? unit : of);
            }
        }

        return (Snake(name), unit);
    }

    /// <summary>"FocalLengthMm" as "focal_length_mm".</summary>
    public static string Snake(string name)
    {
        var text = new StringBuilder(name.Length + 8);
        for (int i = 0; i < name.Length; i++)
        {
            if (i > 0 && char.IsUpper(name[i]) && (!char.IsUpper(name[i - 1]) || (i + 1 < name.Length && char.IsLower(name[i + 1]))))
            {
                text.Append('_');
            }

            text.Append(char.ToLowerInvariant(name[i]));
        }

        return text.ToString();
    }
}
