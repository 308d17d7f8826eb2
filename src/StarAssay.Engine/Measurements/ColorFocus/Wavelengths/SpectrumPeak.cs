using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>A line that stands out of a spectrum, or into it.</summary>
/// <param name="Column">Its center, to a fraction of a column.</param>
/// <param name="Strength">Height above the continuum, or depth as a share of it.</param>
internal readonly record struct SpectrumPeak(double Column, double Strength)
{
    /// <summary>Lines by strength, strongest first; absorption looks for dips.</summary>
    public static SpectrumPeak[] Find(double[] flux, bool absorption)
    {
        (double[] v, double sigma) = AboveFloor(flux, absorption);
        int n = flux.Length;
        double threshold = absorption ? Math.Max(6 * sigma, 0.03) : Math.Max(10 * sigma, 0.004 * v.Max());
        var found = new List<SpectrumPeak>();
        for (int i = 2; i < n - 2; i++)
        {
            if (!(v[i] > threshold && v[i] >= v[i - 1] && v[i] > v[i + 1] && v[i] >= v[i - 2] && v[i] >= v[i + 2]))
            {
                continue;
            }

            // Center of the part above half height, a clipped top included.
            double half = 0.5 * v[i];
            int l = i, r = i;
            while (l > 0 && v[l - 1] > half && i - l < 25)
            {
                l--;
            }

            while (r < n - 1 && v[r + 1] > half && r - i < 25)
            {
                r++;
            }

            double w = 0, wx = 0;
            for (int k = l; k <= r; k++)
            {
                w += v[k] - half;
                wx += (v[k] - half) * k;
            }

            double x = w > 0 ? wx / w : i;
            if (found.Count > 0 && x - found[^1].Column < 1.5)
            {
                continue;
            }

            found.Add(new SpectrumPeak(x, v[i]));
        }

        // A star's shallow dips are noise and blends beside lines that deep.
        double deepest = found.Count > 0 ? found.Max(p => p.Strength) : 0;
        return [.. found.Where(p => !absorption || p.Strength > 0.2 * deepest).OrderByDescending(p => p.Strength).Take(absorption ? 14 : 45)];
    }

    /// <summary>Height above the floor between lines, or depth below the continuum as a share of it, and its noise.</summary>
    public static (double[] Height, double Noise) AboveFloor(double[] flux, bool absorption)
    {
        int n = flux.Length, reach = Math.Max(15, n / (absorption ? 24 : 40));
        var continuum = new double[n];
        var part = new double[(2 * reach) + 1];
        for (int i = 0; i < n; i++)
        {
            int a = Math.Max(0, i - reach), b = Math.Min(n - 1, i + reach);
            for (int k = a; k <= b; k++)
            {
                part[k - a] = double.IsFinite(flux[k]) ? flux[k] : 0;
            }

            Span<double> used = part.AsSpan(0, b - a + 1);
            used.Sort();
            // A lamp's floor is low between crowded lines; a star's continuum high between dips.
            continuum[i] = used[(int)((absorption ? 0.7 : 0.25) * (used.Length - 1))];
        }

        var v = new double[n];
        double top = Math.Max(continuum.Max(), 1e-12);
        for (int i = 0; i < n; i++)
        {
            double d = flux[i] - continuum[i];
            v[i] = absorption ? (continuum[i] > 0.05 * top ? -d / continuum[i] : 0) : d;
        }

        double[] rough = new double[n - 1];
        for (int i = 0; i + 1 < n; i++)
        {
            rough[i] = Math.Abs(v[i + 1] - v[i]);
        }

        return (v, Math.Max(1.4826 * Robust.Median(rough) / Math.Sqrt(2), 1e-12));
    }
}
