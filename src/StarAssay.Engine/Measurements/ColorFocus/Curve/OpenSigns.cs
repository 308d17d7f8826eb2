using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Colors so near to focus that one spectrum cannot tell on which side they lie.</summary>
internal static class OpenSigns
{
    /// <summary>Twice the size of the defocus where its sign is open, 0 where it is decided, um, every bin.</summary>
    /// <remarks>A bin is open when its defocus is no larger than three of its errors plus what depth of focus and seeing hide. A
    /// narrow stretch of such bins between larger ones is a steep crossing, which smoothness decides, unless a rival curve fits.</remarks>
    public static double[] Find(ColorFocusRequest request, int[] bins, ColorFocusInput input, double[] smooth, double[] error, double seeingUm,
        List<double[]> rivals)
    {
        var open = new bool[bins.Length];
        for (int k = 0; k < bins.Length; k++)
        {
            double depth = 2 * input.Nm[bins[k]] / 1000 * request.FocalRatio * request.FocalRatio;
            double hiddenBySeeing = 0.5 * seeingUm * request.FocalRatio; // a disc half as wide as the seeing: our own choice
            double sigma = double.IsFinite(error[k]) ? error[k] : 0;
            open[k] = Math.Abs(smooth[bins[k]]) < Math.Sqrt((depth * depth) + (hiddenBySeeing * hiddenBySeeing)) + (3 * sigma);
        }

        for (int a = 0; a < open.Length;)
        {
            int b = a;
            while (b < open.Length && open[b] == open[a])
            {
                b++;
            }

            if (open[a] && rivals.Count == 0 && a > 0 && b < open.Length && b - a <= open.Length / 8)
            {
                Array.Fill(open, false, a, b - a);
            }

            a = b;
        }

        // Rivals come the way up that the fit had; the curve may have been turned over since.
        double turned = rivals.Count > 0 && rivals[0].Select((v, k) => v * smooth[bins[k]]).Sum() < 0 ? -1 : 1;
        var result = new double[input.Bins];
        for (int k = 0; k < bins.Length; k++)
        {
            // Another choice of signs that fits as well: the error reaches its curve.
            double own = smooth[bins[k]], other = rivals.Count > 0 ? rivals.Max(r => Math.Abs((turned * r[k]) - own)) : 0;
            result[bins[k]] = Math.Max(open[k] ? 2 * Math.Abs(own) : 0, other > 0.2 * Math.Abs(own) ? other : 0);
        }

        return result;
    }

    /// <summary>Says how many signs are open; true when the curve as a whole stands in spite of them.</summary>
    public static bool Say(ColorFocusInput input, int[] bins, double[] smooth, double[] openSign, int reference)
    {
        int count = bins.Count(j => openSign[j] > 0);
        if (count == 0)
        {
            return true;
        }

        // A tenth of the range is what one spectrum is asked for; open signs that move less leave the curve's shape.
        double range = bins.Max(j => smooth[j]) - bins.Min(j => smooth[j]);
        double moved = bins.Max(j => openSign[j]) + openSign[bins[reference]];
        string share = $"In {100.0 * count / bins.Length:0} % of the spectrum ({count} of {bins.Length} bins) the defocus is too small to tell its sign";
        if (moved < 0.1 * range)
        {
            input.Notes.Add(ColorFocusNotes.SignOpenNearFocus.Say(
                $"{share}; the other sign would move the curve by up to {moved:0} um of its {range:0} um, which its error includes."));
            return true;
        }

        input.Notes.Add(ColorFocusNotes.SignAmbiguous.Say(
            $"{share}, and the shape of the curve is not decided: what was measured is the size of the defocus, without its sign. A focus run decides it, " +
                "or one spectrum with the sensor set 0.2 to 0.3 mm out and that said by a defocus hint."));
        return false;
    }

    /// <summary>Turns the sign of every second replicate's open bins at random, so that figures of merit feel it.</summary>
    public static void Widen(double[][] replicates, double[] openSign, int seed)
    {
        var random = new Random(unchecked((seed * 31337) + 5));
        foreach (double[] replicate in replicates)
        {
            bool turn = random.NextDouble() < 0.5;
            for (int j = 0; j < replicate.Length; j++)
            {
                // A curve may change sides where it touches focus: each stretch draws its own side.
                bool touch = j > 0 && (openSign[j] == 0 != (openSign[j - 1] == 0)
                    || (openSign[j] > 0 && j + 1 < openSign.Length && openSign[j] <= openSign[j - 1] && openSign[j] < openSign[j + 1]));
                turn = touch ? random.NextDouble() < 0.5 : turn;
                replicate[j] = turn && openSign[j] > 0 ? -replicate[j] : replicate[j];
            }
        }
    }
}
