using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Electrons per ADU from what fits leave of bright stars, for frames that do not say.
/// </summary>
/// <remarks>What is left of a pixel's light I has the variance of the sky plus I / g from the photons, plus what the profile does not follow,
/// which grows with the square of the light. Over stars of many brightnesses the excess per light is a straight line in the peak: its
/// value at none is 1 / g.</remarks>
internal static class GainFromStars
{
    private const int FewestStars = 12;
    private const int Rounds = 4;
    private const double Clip = 3;

    /// <summary>The gain, and its relative standard uncertainty; NaN where too few stars tell or the photons do not show.</summary>
    /// <param name="stars">Excess per light, its standard uncertainty without photons, and the peak, one each star.</param>
    public static (double Gain, double Relative) Estimate(IReadOnlyList<(double Excess, double Light, double Sky, double Peak)> stars)
    {
        if (stars.Count < FewestStars)
        {
            return (double.NaN, double.NaN);
        }

        bool[] use = new bool[stars.Count];
        Array.Fill(use, true);
        double[] all = [.. stars.Select(s => s.Excess / s.Light).Order()];
        double inverse = Math.Max(0, all[all.Length / 4]), error = double.NaN, misfit = 0;
        for (int round = 0; round < Rounds; round++)
        {
            double s0 = 0, s1 = 0, s2 = 0, t0 = 0, t1 = 0;
            int n = 0;
            double[] sigma = [.. stars.Select(s => Sigma(s, inverse + (misfit * s.Peak)))];
            for (int k = 0; k < stars.Count; k++)
            {
                double e = stars[k].Excess / stars[k].Light, w = 1 / (sigma[k] * sigma[k]), p = stars[k].Peak;
                if (use[k])
                {
                    (s0, s1, s2, t0, t1) = (s0 + w, s1 + (w * p), s2 + (w * p * p), t0 + (w * e), t1 + (w * p * e));
                    n++;
                }
            }

            double det = (s0 * s2) - (s1 * s1);
            misfit = det > 1e-9 * s0 * s2 ? Math.Max(0, ((s0 * t1) - (s1 * t0)) / det) : 0;
            inverse = Math.Max(0, (t0 - (misfit * s1)) / s0);
            error = misfit > 0 ? Math.Sqrt(s2 / det) : Math.Sqrt(1 / s0);
            if (n < FewestStars)
            {
                break;
            }

            for (int k = 0; k < stars.Count; k++)
            {
                use[k] = Math.Abs((stars[k].Excess / stars[k].Light) - inverse - (misfit * stars[k].Peak)) < Clip * sigma[k];
            }
        }

        // The fits' own unknowns and correlated noise leave some percent.
        const double Known = 0.05;
        double relative = Math.Sqrt(Math.Pow(error / inverse, 2) + (Known * Known));
        return inverse > 0 && relative < 0.5 ? (1 / inverse, relative) : (double.NaN, double.NaN);
    }

    /// <summary>Scatter of a star's excess per light: squares of normal residuals scatter by sqrt(2) of their mean.</summary>
    private static double Sigma(in (double Excess, double Light, double Sky, double Peak) star, double perLight) =>
        Math.Sqrt(2 * ((star.Sky * star.Sky) + (perLight * star.Peak * perLight * star.Light))) / star.Light;
}
