using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Which signs the sizes of defocus can have: a smooth curve changes them only where it touches zero.</summary>
internal static class SignPatterns
{
    /// <summary>Difference of minus twice the logarithm of the evidence from which on one choice of signs is decided against another:
    /// odds of 1,000 to 1.</summary>
    internal const double Decided = 13.8;

    /// <summary>Sizes of the defocus as the widths have them, um, and the smallest width, pixels.</summary>
    public static (double[] Size, double Smallest) FromWidths(ColorFocusInput input, ColorFocusRequest request, int[] bins)
    {
        double[] w = [.. bins.Select(j => input.Spectra[0].WidthPx[j] * Math.Pow(input.Nm[j] / 550, 0.2))];
        double[] finite = [.. w.Where(double.IsFinite).Order()];
        double smallest = finite[finite.Length / 20];
        double perUm = 0.265 / request.FocalRatio / input.PitchUm;
        if (double.IsFinite(request.DefocusUm))
        {
            // Set out of focus: what the known disc leaves of the width at the reference is seeing.
            int at = Enumerable.Range(0, bins.Length).MinBy(k => Math.Abs(input.Nm[bins[k]] - request.ReferenceNm));
            double whole = double.IsFinite(w[at]) ? w[at] : smallest;
            double disc = perUm * request.DefocusUm;
            smallest = Math.Min(smallest, Math.Sqrt(Math.Max((whole * whole) - (disc * disc), 0.09 * smallest * smallest)));
        }

        var size = new double[bins.Length];
        for (int k = 0; k < bins.Length; k++)
        {
            double v = double.IsFinite(w[k]) ? w[k] : smallest;
            size[k] = Math.Sqrt(Math.Max(0, (v * v) - (smallest * smallest))) / perUm;
        }

        var smooth = new double[size.Length];
        for (int k = 0; k < size.Length; k++)
        {
            smooth[k] = Robust.Median(size.AsSpan(Math.Max(0, k - 2), Math.Min(size.Length, k + 3) - Math.Max(0, k - 2)).ToArray());
        }

        return (smooth, smallest);
    }

    /// <summary>The sizes with every choice of signs that a smooth curve allows.</summary>
    /// <param name="size">Sizes, um.</param>
    /// <param name="top">The largest; below 0.22 of it a crossing may hide.</param>
    public static List<double[]> All(double[] size, double top)
    {
        // Places where the curve may cross zero: the low stretches of its size.
        var lows = new List<int>();
        int at = -1;
        for (int k = 0; k < size.Length; k++)
        {
            if (size[k] < 0.22 * top)
            {
                at = at < 0 || size[k] < size[at] ? k : at;
            }
            else if (at >= 0)
            {
                lows.Add(at);
                at = -1;
            }
        }

        if (at >= 0)
        {
            lows.Add(at);
        }

        // A wide low stretch may hide two crossings: its ends are candidates as well as its lowest place.
        var extra = new List<int>();
        foreach (int low in lows)
        {
            int a = low, b = low;
            while (a > 0 && size[a - 1] < 0.22 * top)
            {
                a--;
            }

            while (b < size.Length - 1 && size[b + 1] < 0.22 * top)
            {
                b++;
            }

            if (b - a > size.Length / 8)
            {
                extra.Add(a + ((b - a) / 4));
                extra.Add(b - ((b - a) / 4));
            }

            extra.Add(low);
        }

        int[] crossings = [.. extra.Distinct().Order().Take(5)];
        var patterns = new List<double[]>();
        for (int bits = 0; bits < 1 << crossings.Length; bits++)
        {
            double sign = 1;
            var s = new double[size.Length];
            int next = 0;
            for (int k = 0; k < size.Length; k++)
            {
                while (next < crossings.Length && k >= crossings[next])
                {
                    sign = (bits >> next & 1) == 1 ? -sign : sign;
                    next++;
                }

                s[k] = sign * size[k];
            }

            patterns.Add(s);
        }

        return patterns;
    }

    /// <summary>The best fits of which no two are the same curve, either way up.</summary>
    public static List<(ProfileFit Fit, List<ProfileBlock> Blocks)> Distinct(List<(ProfileFit Fit, List<ProfileBlock> Blocks)> ranked, double[][] rows,
        int most)
    {
        var kept = new List<(ProfileFit Fit, List<ProfileBlock> Blocks)>();
        var curves = new List<double[]>();
        foreach ((ProfileFit Fit, List<ProfileBlock> Blocks) trial in ranked)
        {
            double[] a = [.. rows.Select(r => SplineBasis.Dot(r, trial.Fit.X[SignedCurveFit.Head..]))];
            double near = Math.Pow(0.02 * (a.Max() - a.Min()), 2);
            bool known = curves.Any(b => Math.Min(a.Zip(b, (p, q) => (p - q) * (p - q)).Average(), a.Zip(b, (p, q) => (p + q) * (p + q)).Average()) < near);
            if (!known && kept.Count < most)
            {
                kept.Add(trial);
                curves.Add(a);
            }
        }

        return kept;
    }

    /// <summary>Curves of other signs for which almost as much speaks as for the best, each turned the way that is nearer to it.</summary>
    /// <param name="ranked">Fits, best first, with minus twice the logarithm of their evidence.</param>
    /// <param name="rows">The curve's functions at the bins.</param>
    /// <param name="unexplained">What must speak against a rival on top, in the same unit.</param>
    public static List<double[]> Rivals(List<(ProfileFit Fit, double Score)> ranked, double[][] rows, double unexplained)
    {
        double[] Values(double[] x) => [.. rows.Select(r => SplineBasis.Dot(r, x[SignedCurveFit.Head..]))];
        ProfileFit best = ranked[0].Fit;
        double[] a = Values(best.X);
        double range = a.Max() - a.Min();
        var rivals = new List<double[]>();
        foreach ((ProfileFit fit, double score) in ranked.Skip(1))
        {
            double[] b = Values(fit.X);
            double same = Math.Sqrt(a.Zip(b, (p, q) => (p - q) * (p - q)).Average());
            double mirrored = Math.Sqrt(a.Zip(b, (p, q) => (p + q) * (p + q)).Average());
            if (Math.Min(same, mirrored) > 0.05 * range && score - ranked[0].Score < Decided + unexplained)
            {
                rivals.Add(same <= mirrored ? b : [.. b.Select(v => -v)]);
            }
        }

        return rivals;
    }
}
