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
    public static (ZoneSummary Whole, ZoneSummary[] Parts) Of(StarTable.Columns c, int[] clean, int width, int height, double axisX, double axisY,
        RunContext context)
    {
        double reach = 0;
        foreach ((double x, double y) in new[] { (0.0, 0.0), (width - 1.0, 0.0), (0.0, height - 1.0), (width - 1.0, height - 1.0) })
        {
            reach = Math.Max(reach, Math.Sqrt(((x - axisX) * (x - axisX)) + ((y - axisY) * (y - axisY))));
        }

        string[] names = ["all", "center", "middle", "edge", "bottom-left", "bottom-right", "top-left", "top-right"];
        const int All = 0, FirstRing = 1, FirstCorner = 4;
        var members = Array.ConvertAll(names, _ => new List<int>(clean.Length));
        foreach (int k in clean)
        {
            int ring = c.Distance[k] <= CenterShare * reach ? 0 : c.Distance[k] <= MiddleShare * reach ? 1 : 2;
            bool left = c.X[k] < CornerShare * width, right = c.X[k] > (1 - CornerShare) * width;
            bool bottom = c.Y[k] < CornerShare * height, top = c.Y[k] > (1 - CornerShare) * height;
            members[All].Add(k);
            members[FirstRing + ring].Add(k);
            if ((left || right) && (bottom || top))
            {
                members[FirstCorner + (top ? 2 : 0) + (right ? 1 : 0)].Add(k);
            }
        }

        var found = new ZoneSummary[names.Length];
        Sharing.For(names.Length, context, z =>
        {
            int[] inside = [.. members[z]];
            found[z] = new ZoneSummary(names[z], inside.Length, Median(c.Hfr, inside, "pix"), Fwhm(c, inside),
                TypicalEllipticity.Of(c.Radial, c.Cross, c.EllipticityError, inside, c.NoiseRelative), Mean(c.Radial, inside));
        });
        return (found[All], found[FirstRing..]);
    }

    /// <summary>Median of the fitted widths; none where more stars are flat-topped than not, since those few left would not stand for the rest.</summary>
    private static Measured Fwhm(StarTable.Columns c, int[] inside) =>
        2 * inside.Count(k => ((StarMarks)c.Flags[k] & StarMarks.FlatTopped) != 0) > inside.Count(k => double.IsFinite(c.ProfileFwhm[k]))
            ? Measured.None("pix") : WithShared(Median(c.Fwhm, inside, "pix"), c, inside);

    /// <summary>What the exponent that faint stars share is off by does not average out.</summary>
    private static Measured WithShared(Measured median, StarTable.Columns c, int[] inside)
    {
        int[] fitted = Array.FindAll(inside, k => double.IsFinite(c.Fwhm[k]));
        return fitted.Length == 0 ? median : median with { Uncertainty = double.Hypot(median.Uncertainty, fitted.Average(k => c.FwhmShared[k])) };
    }

    /// <summary>Median with the standard uncertainty sqrt(pi/2) s / sqrt(n), s from the quartiles.</summary>
    public static Measured Median(double[] values, int[] index, string unit)
    {
        double[] v = Finite(values, index);
        if (v.Length == 0)
        {
            return Measured.None(unit);
        }

        // Quartiles lie below and above the median: each is sought on its side of it only.
        int middle = (int)(0.5 * (v.Length - 1));
        _ = Rank.Select<double>(v, middle);
        double Quantile(double q)
        {
            double at = q * (v.Length - 1);
            int i = (int)at, from = i > middle ? middle + 1 : 0, to = i < middle ? middle : v.Length;
            double value = i == middle ? v[i] : Rank.Select(v.AsSpan(from, to - from), i - from);
            double next = i + 1 < v.Length ? System.Numerics.Tensors.TensorPrimitives.Min<double>(v.AsSpan(i + 1)) : value;
            return value + ((at - i) * (next - value));
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
