using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>The curve and weights on a fine grid, 1 nm.</summary>
internal sealed class WeightedCurve
{
    private readonly MeritRequest request;
    private readonly double[] nm;
    private readonly double[] shift;
    private readonly double[] weight;
    private StrehlSums? sums;

    public WeightedCurve(MeritRequest request, double[] curve)
    {
        this.request = request;
        int[] order = [.. Enumerable.Range(0, curve.Length).OrderBy(i => request.WavelengthNm[i])];
        double[] x = [.. order.Select(i => request.WavelengthNm[i])], y = [.. order.Select(i => curve[i])],
            w = [.. order.Select(i => Math.Max(0, request.Weight[i]))];
        int from = (int)Math.Floor(request.MinNm), to = (int)Math.Ceiling(request.MaxNm);
        nm = [.. Enumerable.Range(from, to - from + 1).Select(i => (double)i)];
        shift = [.. nm.Select(v => LinearTable.At(x, y, v))];
        weight = [.. nm.Select(v => LinearTable.At(x, w, v))];
    }

    public double LargestShare(double lo, double hi)
    {
        double most = 0;
        for (int i = 0; i < nm.Length; i++)
        {
            most = nm[i] >= lo && nm[i] <= hi ? Math.Max(most, weight[i]) : most;
        }

        return most / Light(lo, hi);
    }

    public double Light(double lo, double hi)
    {
        double s = 0;
        for (int i = 0; i < nm.Length; i++)
        {
            s += nm[i] >= lo && nm[i] <= hi ? weight[i] : 0;
        }

        return s;
    }

    public double[] Figures(double lo, double hi, FocusChoice choice, double halo, out double sensor)
    {
        (int a, int b) = Range(lo, hi);
        sensor = Focus(a, b, choice);
        double n = request.FocalRatio, e2 = request.Obstruction * request.Obstruction;
        double light = 0, inside = 0, square = 0, strehl = 0, outside = 0, low = double.MaxValue, high = double.MinValue;
        for (int i = a; i <= b; i++)
        {
            double z = Math.Abs(shift[i] - sensor), w = weight[i];
            light += w;
            inside += w * ShareInside(i, sensor);
            square += w * z * z * (1 + e2) / (8 * n * n);
            strehl += w * Strehl(z, nm[i]);
            double r = z / (2 * n);
            outside += w * (r <= halo ? 0 : 1 - Math.Max(0, ((halo * halo) - (e2 * r * r)) / (r * r * (1 - e2))));
            low = Math.Min(low, shift[i]);
            high = Math.Max(high, shift[i]);
        }

        double secondary = lo <= 486.2 && hi >= 656.2 ? (0.5 * (At(486.1327) + At(656.2725))) - At(587.5618) : double.NaN;
        return [inside / light, Math.Sqrt(square / light), strehl / light, outside / light, secondary, high - low];
    }

    public (double Lo, double Hi, double Light, double Strehl) WidestBand(double lo, double hi, double wanted)
    {
        (double, double, double, double) best = (double.NaN, double.NaN, 0, double.NaN);
        double most = 0;
        for (double a = lo; a < hi - 20; a += 10)
        {
            for (double b = hi; b > a + 20; b -= 10)
            {
                double light = Light(a, b);
                if (light <= most)
                {
                    break;
                }

                (int i, int j) = Range(a, b);
                double s = MeanStrehl(i, j, BestStrehlFocus(i, j));
                if (s >= wanted)
                {
                    most = light;
                    best = (a, b, light, s);
                    break;
                }
            }
        }

        return best;
    }

    private double At(double w) => LinearTable.At(nm, shift, w);

    private (int A, int B) Range(double lo, double hi)
    {
        int a = (int)Math.Clamp(Math.Ceiling(lo - nm[0]), 0, nm.Length - 2);
        int b = (int)Math.Clamp(Math.Floor(hi - nm[0]), a + 1, nm.Length - 1);
        return (a, b);
    }

    /// <summary>Share of a cell of the grid, half a step to either side, whose focus lies within the depth of the sensor.</summary>
    /// <remarks>Not all or nothing: a fraction counted in whole cells would stand still while the curve moves, and so would have no uncertainty.</remarks>
    private double ShareInside(int i, double sensor)
    {
        double depth = 2 * nm[i] / 1000 * request.FocalRatio * request.FocalRatio;
        double before = (shift[Math.Max(i - 1, 0)] + shift[i]) / 2, after = (shift[i] + shift[Math.Min(i + 1, nm.Length - 1)]) / 2;
        return (Part(before, shift[i]) + Part(shift[i], after)) / 2;

        // Of a straight piece of the curve from one focus to another.
        double Part(double from, double to)
        {
            (double low, double high) = (Math.Min(from, to) - sensor, Math.Max(from, to) - sensor);
            return high - low < 1e-9 ? (Math.Abs(low) <= depth ? 1 : 0) : Math.Max(0, Math.Min(high, depth) - Math.Max(low, -depth)) / (high - low);
        }
    }

    /// <summary>Half of the phase across the annulus for each um of defocus, radians.</summary>
    private double PerUm(double w) =>
        Math.PI * 1000 / (8 * request.FocalRatio * request.FocalRatio * w) * (1 - (request.Obstruction * request.Obstruction));

    private double Strehl(double z, double w)
    {
        double x = z * PerUm(w);
        double s = x < 1e-6 ? 1 : Math.Sin(x) / x;
        return s * s;
    }

    /// <summary>Where a part of the band has its best mean Strehl ratio: between the steps of a table by a parabola.</summary>
    private double BestStrehlFocus(int a, int b)
    {
        sums ??= new StrehlSums(shift, weight, [.. nm.Select(PerUm)]);
        double low = double.MaxValue, high = double.MinValue;
        for (int i = a; i <= b; i++)
        {
            low = Math.Min(low, shift[i]);
            high = Math.Max(high, shift[i]);
        }

        return Math.Clamp(sums.Best(a, b, low, high), low, high);
    }

    private double MeanStrehl(int a, int b, double sensor)
    {
        double light = 0, s = 0;
        for (int i = a; i <= b; i++)
        {
            light += weight[i];
            s += weight[i] * Strehl(Math.Abs(shift[i] - sensor), nm[i]);
        }

        return s / light;
    }

    private double Focus(int a, int b, FocusChoice choice)
    {
        double light = 0, mean = 0, low = double.MaxValue, high = double.MinValue;
        for (int i = a; i <= b; i++)
        {
            light += weight[i];
            mean += weight[i] * shift[i];
            low = Math.Min(low, shift[i]);
            high = Math.Max(high, shift[i]);
        }

        if (choice == FocusChoice.LeastBlur)
        {
            return mean / light;
        }

        if (choice == FocusChoice.Reference)
        {
            return At(request.ReferenceNm);
        }

        if (choice == FocusChoice.BestStrehl)
        {
            return BestStrehlFocus(a, b);
        }

        double unit = 2 * nm[a] / 1000 * request.FocalRatio * request.FocalRatio;
        int steps = (int)Math.Clamp(Math.Ceiling((high - low) / (0.1 * unit)), 1, 400);
        double best = low, score = double.MinValue;
        for (int k = 0; k <= steps; k++)
        {
            double z = low + ((high - low) * k / steps);
            double s = 0;
            for (int i = a; i <= b; i++)
            {
                s += weight[i] * ShareInside(i, z);
            }

            if (s > score + 1e-12)
            {
                (best, score) = (z, s);
            }
        }

        return best;
    }
}
