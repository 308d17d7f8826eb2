using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Two ends of a range of wavelengths, in either order.</summary>
internal static class WavelengthRange
{
    /// <summary>Throws unless it is one, at least 5 nm wide.</summary>
    public static void Require(double[] nm, string name)
    {
        if (nm.Length != 2 || !(nm.Min() >= 100) || !(nm.Max() <= 20_000) || nm.Max() - nm.Min() < 5)
        {
            throw new InputException("color-focus.range", $"{name} is [{string.Join(", ", nm)}] nm; give the two ends of a range of wavelengths, at least 5 " +
                "nm apart.", name);
        }
    }
}
