using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Columns in lines of the star or of the air, whose profile their neighbors' light changes.</summary>
internal static class SpectralLines
{
    /// <summary>True where the flux departs from the continuum by more than <paramref name="depth"/> of it and more than noise.</summary>
    public static bool[] Find(double[] flux, double[] fluxError, double depth, string name, List<Note> notes)
    {
        int columns = flux.Length;
        var inLine = new bool[columns];
        if (depth <= 0)
        {
            return inLine;
        }

        int reach = Math.Max(12, columns / 40);
        int count = 0;
        var smooth = new double[columns];
        for (int c = 0; c < columns; c++)
        {
            int a = Math.Max(0, c - 1), z = Math.Min(columns - 1, c + 1);
            smooth[c] = (flux[a] + flux[c] + flux[z]) / 3;
        }

        double[] before = RunningMedian(smooth, reach);
        Array.Reverse(smooth);
        double[] after = RunningMedian(smooth, reach);
        Array.Reverse(smooth);
        Array.Reverse(after);
        for (int c = 0; c < columns; c++)
        {
            // Continuum: a line through the medians of the stretches to the left and right, so that a flank is no line.
            double left = before[c], leftAt = 0.5 * (Math.Max(0, c - reach) + c);
            double right = after[c], rightAt = 0.5 * (c + Math.Min(columns - 1, c + reach));
            double continuum = rightAt > leftAt ? left + ((right - left) * (c - leftAt) / (rightAt - leftAt)) : left;
            double departs = Math.Abs(smooth[c] - continuum);
            inLine[c] = continuum > 0 && departs > depth * continuum && departs > 4 * fluxError[c] / Math.Sqrt(3);
            count += inLine[c] ? 1 : 0;
        }

        if (count > 0)
        {
            notes.Add(ColorFocusNotes.LinesMasked.Say($"{count} columns lie in lines that depart from the continuum by more than {100 * depth:0} % and were " +
                "left out.", name));
        }

        return inLine;
    }

    /// <summary>Median of every value and of as many before it as the reach says, fewer at the beginning.</summary>
    private static double[] RunningMedian(double[] values, int reach)
    {
        var sorted = new List<double>(reach + 2);
        var result = new double[values.Length];
        for (int c = 0; c < values.Length; c++)
        {
            Insert(sorted, values[c]);
            if (c > reach)
            {
                sorted.RemoveAt(sorted.BinarySearch(values[c - reach - 1]));
            }

            int n = sorted.Count;
            result[c] = n % 2 == 1 ? sorted[n / 2] : 0.5 * (sorted[(n / 2) - 1] + sorted[n / 2]);
        }

        return result;
    }

    private static void Insert(List<double> sorted, double value)
    {
        int at = sorted.BinarySearch(value);
        sorted.Insert(at >= 0 ? at : ~at, value);
    }
}
