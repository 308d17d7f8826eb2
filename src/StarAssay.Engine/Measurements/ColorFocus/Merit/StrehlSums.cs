using System.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Light times Strehl ratio, summed over the colors up to each, for sensors at many places: the mean of any part of the band
/// anywhere is a difference of two of them.</summary>
internal sealed class StrehlSums
{
    // Steps in which the phase of the shortest wave grows: its Strehl ratio falls to a half within four of them, so that a parabola through
    // three finds the top to a thousandth of its width.
    private const double PhaseStep = 0.35;
    private const int Most = 2000;
    private readonly double low;
    private readonly double step;
    private readonly double[] light;
    private readonly double[][] sums;

    /// <summary>Makes the table.</summary>
    /// <param name="shift">Focus at each wavelength, um.</param>
    /// <param name="weight">Light at each.</param>
    /// <param name="perUm">Half of the phase across the annulus for each um of defocus.</param>
    public StrehlSums(double[] shift, double[] weight, double[] perUm)
    {
        double high = shift.Max();
        low = shift.Min();
        int steps = (int)Math.Clamp(Math.Ceiling((high - low) * perUm.Max() / PhaseStep), 2, Most);
        step = Math.Max((high - low) / steps, 1e-9);
        int n = shift.Length, lanes = Vector<double>.Count;
        light = Cumulated(weight);
        sums = new double[steps + 1][];
        var strehl = new double[n];
        for (int s = 0; s <= steps; s++)
        {
            double z = low + (s * step);
            int i = 0;
            for (; i <= n - lanes; i += lanes)
            {
                Vector<double> x = (new Vector<double>(shift, i) - new Vector<double>(z)) * new Vector<double>(perUm, i);
                Vector<double> far = Vector.Abs(x), safe = Vector.Max(far, new Vector<double>(1e-6)), ratio = Vector.Sin(safe) / safe;
                (new Vector<double>(weight, i) * ratio * ratio).CopyTo(strehl, i);
            }

            for (; i < n; i++)
            {
                double x = Math.Max(Math.Abs((shift[i] - z) * perUm[i]), 1e-6), ratio = Math.Sin(x) / x;
                strehl[i] = weight[i] * ratio * ratio;
            }

            sums[s] = Cumulated(strehl);
        }
    }

    /// <summary>Place of the best mean Strehl ratio of the colors from one to another.</summary>
    /// <param name="from">First color.</param>
    /// <param name="to">Last color.</param>
    /// <param name="least">Nearest place looked at, um.</param>
    /// <param name="most">Farthest.</param>
    public double Best(int from, int to, double least, double most)
    {
        int first = Math.Clamp((int)((least - low) / step), 0, sums.Length - 1), last = Math.Clamp((int)Math.Ceiling((most - low) / step), 0, sums.Length - 1);
        int best = first;
        for (int s = first; s <= last; s++)
        {
            best = At(s, from, to) > At(best, from, to) ? s : best;
        }

        double place = low + (best * step);
        if (best == 0 || best == sums.Length - 1)
        {
            return place;
        }

        double before = At(best - 1, from, to), here = At(best, from, to), after = At(best + 1, from, to), bend = before - (2 * here) + after;
        return bend < 0 ? place + (step * Math.Clamp(0.5 * (before - after) / bend, -1, 1)) : place;
    }

    private double At(int s, int from, int to) => (sums[s][to + 1] - sums[s][from]) / (light[to + 1] - light[from]);

    private static double[] Cumulated(double[] values)
    {
        var sum = new double[values.Length + 1];
        for (int i = 0; i < values.Length; i++)
        {
            sum[i + 1] = sum[i] + values[i];
        }

        return sum;
    }
}
