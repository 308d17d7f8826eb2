using System.Globalization;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>Numbers as sentences need them.</summary>
internal static class Words
{
    /// <summary>"0.962 ± 0.006 nm": two digits of the uncertainty.</summary>
    public static string PlusMinus(Measured m) => PlusMinus(m.Value, m.Uncertainty, m.Unit);

    public static string PlusMinus(double value, double uncertainty, string unit)
    {
        int digits = Digits(uncertainty);
        string text = double.IsFinite(uncertainty) && uncertainty > 0
            ? $"{Fixed(value, digits)} ± {Fixed(uncertainty, digits)}"
            : Plain(value);
        return Join(text, unit);
    }

    public static string Plain(double value, string unit = "") => Join((value + 0.0).ToString("G5", CultureInfo.InvariantCulture), unit);

    /// <summary>Two digits, as an uncertainty needs.</summary>
    public static string Rough(double value, string unit = "") => Join(value.ToString("G2", CultureInfo.InvariantCulture), unit);

    public static string Percent(double probability) => probability switch
    {
        > 0.999 => "more than 99.9 %",
        < 0.001 => "less than 0.1 %",
        _ => (100 * probability).ToString(probability is > 0.99 or < 0.01 ? "F1" : "F0", CultureInfo.InvariantCulture) + " %",
    };

    /// <summary>So many digits after the point; what rounds to zero has no sign.</summary>
    public static string Fixed(double value, int digits)
    {
        string text = value.ToString("F" + digits, CultureInfo.InvariantCulture);
        return text.StartsWith('-') && text.AsSpan(1).IndexOfAnyExcept('0', '.') < 0 ? text[1..] : text;
    }

    private static int Digits(double uncertainty) =>
        double.IsFinite(uncertainty) && uncertainty > 0 ? Math.Clamp(1 - (int)Math.Floor(Math.Log10(uncertainty)), 0, 9) : 0;

    private static string Join(string number, string unit) => unit.Length == 0 ? number : $"{number} {unit}";
}
