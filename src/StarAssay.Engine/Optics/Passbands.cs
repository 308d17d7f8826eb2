using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>Passbands with a source: the eye's, and those of Johnson and Cousins.</summary>
/// <remarks>"V(lambda)": luminous efficiency of the eye by day, CIE 018:2019 (the table of CIE 1924). "B", "V", "R": Bessell 1990,
/// PASP 102, 1181, table 2, relative to photons times energy as printed there. Both tables from memory, B, V and R checked by their
/// published effective wavelengths in the tests.</remarks>
public static class Passbands
{
    private static readonly Dictionary<string, (double FromNm, double StepNm, double[] Share)> Tables = new(StringComparer.Ordinal)
    {
        ["V(lambda)"] = (380, 10, [0.000039, 0.00012, 0.000396, 0.00121, 0.0040, 0.0116, 0.0230, 0.0380, 0.0600, 0.09098, 0.13902, 0.20802, 0.3230, 0.5030,
            0.7100, 0.8620, 0.9540, 0.99495, 0.9950, 0.9520, 0.8700, 0.7570, 0.6310, 0.5030, 0.3810, 0.2650, 0.1750, 0.1070, 0.0610, 0.0320, 0.0170, 0.00821,
            0.004102, 0.002091, 0.001047, 0.00052, 0.000249, 0.00012, 0.00006, 0.00003, 0.000015]),
        ["B"] = (360, 10, [0, 0.030, 0.134, 0.567, 0.920, 0.978, 1.0, 0.978, 0.935, 0.853, 0.740, 0.640, 0.536, 0.424, 0.325, 0.235, 0.150, 0.095, 0.043,
            0.009, 0]),
        ["V"] = (470, 10, [0, 0.030, 0.163, 0.458, 0.780, 0.967, 1.0, 0.973, 0.898, 0.792, 0.684, 0.574, 0.461, 0.359, 0.270, 0.197, 0.135, 0.081, 0.045,
            0.025, 0.017, 0.013, 0.009, 0]),
        ["R"] = (550, 10, [0, 0.23, 0.74, 0.91, 0.98, 1.0, 0.98, 0.96, 0.93, 0.90, 0.86, 0.81, 0.78, 0.72, 0.67, 0.61, 0.56, 0.51, 0.46, 0.40, 0.35, 0.30,
            0.26, 0.22, 0.18, 0.14, 0.115, 0.09, 0.065, 0.045, 0.03, 0.02, 0.01, 0.005, 0.002, 0]),
    };

    /// <summary>Names.</summary>
    public static IReadOnlyList<string> Names => [.. Tables.Keys];

    /// <summary>Share of the light that passes, the largest 1.</summary>
    public static double At(string name, double nm)
    {
        (double from, double step, double[] share) = Find(name);
        return nm < from || nm > from + (step * (share.Length - 1)) ? 0
            : LinearTable.At([.. share.Select((_, i) => from + (step * i))], share, nm);
    }

    /// <summary>Where at least a hundredth passes, nm.</summary>
    public static (double FromNm, double ToNm) Edges(string name)
    {
        (double from, double step, double[] share) = Find(name);
        int[] open = [.. Enumerable.Range(0, share.Length).Where(i => share[i] >= 0.01)];
        return (from + (step * open[0]), from + (step * open[^1]));
    }

    private static (double FromNm, double StepNm, double[] Share) Find(string name) =>
        Tables.TryGetValue(name, out (double, double, double[]) table) ? table
            : throw new InputException("merit.passband", $"No passband '{name}' is known. Known are {string.Join(", ", Names)}; or give two wavelengths.",
                "passband");
}
