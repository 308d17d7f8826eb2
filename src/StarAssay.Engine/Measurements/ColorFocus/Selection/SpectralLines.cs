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
        var near = new List<double>(2 * reach);
        int count = 0;
        var smooth = new double[columns];
        for (int c = 0; c < columns; c++)
        {
            int a = Math.Max(0, c - 1), z = Math.Min(columns - 1, c + 1);
            smooth[c] = (flux[a] + flux[c] + flux[z]) / 3;
        }

        for (int c = 0; c < columns; c++)
        {
            // Continuum: a line through the medians of the stretches to the left and right, so that a flank is no line.
            int a = Math.Max(0, c - reach), z = Math.Min(columns - 1, c + reach);
            near.Clear();
            for (int i = a; i <= c; i++)
            {
                near.Add(smooth[i]);
            }

            double left = Robust.Median(near);
            double leftAt = 0.5 * (a + c);
            near.Clear();
            for (int i = c; i <= z; i++)
            {
                near.Add(smooth[i]);
            }

            double right = Robust.Median(near);
            double rightAt = 0.5 * (c + z);
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
}
