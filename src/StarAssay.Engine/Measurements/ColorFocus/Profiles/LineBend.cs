namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What lines in the star's light do to the profiles across the spectrum.</summary>
internal static class LineBend
{
    /// <summary>How uneven light bends each bin's profile, as a focus shift in um: a line takes chords of neighboring colors' discs out
    /// of the column, which makes its profile narrower or wider.</summary>
    /// <remarks>Size only, from what the flux departs from the mean of its two neighbors half a disc away, times the distance from
    /// focus: colors that all frames show on one side of focus suffer, those amid the run do not. It is used as an error.</remarks>
    public static double[] Estimate(ColorFocusInput input, int[] bins, double[] focusUm, double[] positionUm, double focalRatio, double seeingPx)
    {
        var bend = new double[bins.Length];
        for (int i = 0; i < input.Frames; i++)
        {
            ReducedSpectrum s = input.Spectra[i];
            int n = s.Flux.Length;
            double At(double c) => Mean(s.Flux, (int)Math.Clamp(Math.Round(c), 0, n - 1));
            for (int k = 0; k < bins.Length; k++)
            {
                double defocus = positionUm[i] - focusUm[k];
                double reach = Math.Sqrt(Math.Pow(0.25 * defocus / focalRatio / input.PitchUm, 2) + Math.Pow(0.5 * seeingPx, 2));
                double sum = 0;
                int kept = 0;
                for (int c = bins[k] * n / input.Bins; c < (bins[k] + 1) * n / input.Bins; c++)
                {
                    double here = Mean(s.Flux, c);
                    if (!s.ColumnMasked[c] && here > 0)
                    {
                        sum += ((0.5 * (At(c - reach) + At(c + reach))) / here) - 1;
                        kept++;
                    }
                }

                bend[k] += kept > 0 ? defocus * sum / kept / input.Frames : 0;
            }
        }

        // The sign of the effect changes within a line: neighbors share its size.
        return [.. bend.Select((_, k) => Math.Sqrt(bend[Math.Max(0, k - 1)..Math.Min(bend.Length, k + 2)].Average(v => v * v)))];
    }

    private static double Mean(double[] flux, int at)
    {
        double sum = 0;
        int a = Math.Max(0, at - 2), b = Math.Min(flux.Length - 1, at + 2);
        for (int c = a; c <= b; c++)
        {
            sum += flux[c];
        }

        return sum / (b - a + 1);
    }
}
