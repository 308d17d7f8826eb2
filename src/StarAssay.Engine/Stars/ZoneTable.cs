using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>Typical values over parts of the field.</summary>
internal static class ZoneTable
{
    private const double CenterShare = 0.3;
    private const double MiddleShare = 0.65;

    // Corners: the outer quarter of both sides.
    private const double CornerShare = 0.25;

    /// <summary>All of the field, and its parts.</summary>
    public static (ZoneSummary Whole, ZoneSummary[] Parts) Of(StarTable.Columns c, int[] clean, int width, int height, double axisX, double axisY, RunContext context)
    {
        double reach = 0;
        foreach ((double x, double y) in new[] { (0.0, 0.0), (width - 1.0, 0.0), (0.0, height - 1.0), (width - 1.0, height - 1.0) })
        {
            reach = Math.Max(reach, Math.Sqrt(((x - axisX) * (x - axisX)) + ((y - axisY) * (y - axisY))));
        }

        bool Left(int k) => c.X[k] < CornerShare * width;
        bool Right(int k) => c.X[k] > (1 - CornerShare) * width;
        bool Bottom(int k) => c.Y[k] < CornerShare * height;
        bool Top(int k) => c.Y[k] > (1 - CornerShare) * height;
        (string Name, Func<int, bool> Holds)[] zones =
        [
            ("all", _ => true),
            ("center", k => c.Distance[k] <= CenterShare * reach),
            ("middle", k => c.Distance[k] > CenterShare * reach && c.Distance[k] <= MiddleShare * reach),
            ("edge", k => c.Distance[k] > MiddleShare * reach),
            ("bottom-left", k => Bottom(k) && Left(k)),
            ("bottom-right", k => Bottom(k) && Right(k)),
            ("top-left", k => Top(k) && Left(k)),
            ("top-right", k => Top(k) && Right(k)),
        ];
        var found = new ZoneSummary[zones.Length];
        Sharing.For(zones.Length, context, z => found[z] = Summary(zones[z].Name, c, Array.FindAll(clean, k => zones[z].Holds(k))));
        return (found[0], found[1..]);
    }

    private static ZoneSummary Summary(string name, StarTable.Columns c, int[] inside) =>
        new(name, inside.Length, Median(c.Hfr, inside, "pix"), Median(c.Fwhm, inside, "pix"), TypicalEllipticity.Of(c.Radial, c.Cross, c.EllipticityError, inside), Mean(c.Radial, inside));

    /// <summary>Median with the standard uncertainty sqrt(pi/2) s / sqrt(n), s from the quartiles.</summary>
    public static Measured Median(double[] values, int[] index, string unit)
    {
        double[] v = Finite(values, index);
        if (v.Length == 0)
        {
            return Measured.None(unit);
        }

        Array.Sort(v);
        double Quantile(double q)
        {
            double at = q * (v.Length - 1);
            int i = (int)at;
            return i + 1 < v.Length ? v[i] + ((at - i) * (v[i + 1] - v[i])) : v[i];
        }

        double spread = (Quantile(0.75) - Quantile(0.25)) / 1.34898;
        return new Measured(Quantile(0.5), v.Length > 1 ? 1.2533 * spread / Math.Sqrt(v.Length) : double.NaN, unit);
    }

    private static double[] Finite(double[] values, int[] index)
    {
        double[] found = new double[index.Length];
        int n = 0;
        foreach (int k in index)
        {
            if (double.IsFinite(values[k]))
            {
                found[n++] = values[k];
            }
        }

        return n == found.Length ? found : found[..n];
    }

    private static Measured Mean(double[] values, int[] index)
    {
        double[] v = Finite(values, index);
        if (v.Length == 0)
        {
            return Measured.None("");
        }

        double mean = v.Average();
        double variance = v.Length > 1 ? v.Sum(x => (x - mean) * (x - mean)) / (v.Length - 1) : double.NaN;
        return new Measured(mean, Math.Sqrt(variance / v.Length), "");
    }
}
