using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>What a wavefront fit gives to claims, with what of each uncertainty averages out over more pairs.</summary>
internal static class WavefrontFigures
{
    private static readonly (string Family, QuantityDefinition Kind, QuantityDefinition Annular)[] Named =
    [
        ("spherical", WavefrontQuantities.Spherical, WavefrontQuantities.SphericalAnnular),
        ("coma", WavefrontQuantities.Coma, WavefrontQuantities.ComaAnnular),
        ("astigmatism", WavefrontQuantities.Astigmatism, WavefrontQuantities.AstigmatismAnnular),
    ];

    public static IReadOnlyList<Quantity> Of(WavefrontFit fit)
    {
        string[] doubts = [.. fit.Notes.Where(n => n.Level == NoteLevel.Doubt).Select(n => n.Text)];
        int pairs = fit.Images.Count / 2;
        Quantity Make(QuantityDefinition kind, Measured value, double random) =>
            kind.Of(value, random, fit.WavelengthNm) with { Count = pairs, Counted = "pairs", Doubts = doubts };

        var found = new List<Quantity>
        {
            Make(WavefrontQuantities.Strehl, fit.Strehl, RandomPart(fit, fit.Strehl.Uncertainty, l => l.Strehl)),
            Make(WavefrontQuantities.Rms, fit.Rms, RandomPart(fit, fit.Rms.Uncertainty, l => l.RmsNm)),
            Make(WavefrontQuantities.Pv, fit.Pv, double.NaN),
        };
        foreach ((string name, QuantityDefinition kind, QuantityDefinition annular) in Named)
        {
            if (fit.Families.FirstOrDefault(f => f.Name == name) is AberrationFamily family)
            {
                found.Add(Make(kind, family.Rms, RandomPartOf(fit.Noll, fit.CoefficientNm, fit.RandomUncertaintyNm, name)));
            }

            for (int i = 0; i < fit.AnnularFamilies.Count; i++)
            {
                if (fit.AnnularFamilies[i].Name == name)
                {
                    found.Add(Make(annular, fit.AnnularFamilies[i].Rms, fit.AnnularRandomUncertaintyNm[i]));
                }
            }
        }

        if (Seeing(fit) is Quantity seeing)
        {
            found.Add(seeing with { Doubts = doubts });
        }

        return found;
    }

    /// <summary>The lines that average, in quadrature. A line without a number (the scatter of the pairs, named for comparison) says
    /// nothing; where the pairs scattered more than the budget and widened the bars, the excess is random too.</summary>
    private static double RandomPart(WavefrontFit fit, double uncertainty, Func<WavefrontBudgetLine, double> part)
    {
        double Root(bool averages) => Math.Sqrt(fit.Budget.Where(l => l.Averages == averages).Select(part).Where(double.IsFinite).Sum(p => p * p));
        if (!fit.Budget.Any(l => l.Averages && double.IsFinite(part(l))))
        {
            return double.NaN;
        }

        double random = Root(true), common = Root(false);
        double rest = Math.Sqrt(Math.Max(0, (uncertainty * uncertainty) - (common * common)));
        return fit.Widened ? Math.Max(random, rest) : random;
    }

    /// <summary>What of a family's uncertainty averages out.</summary>
    public static double RandomPartOf(int[] noll, double[] coefficientNm, double[] randomNm, string family)
    {
        double squares = 0, random = 0;
        for (int j = 0; j < noll.Length; j++)
        {
            if (AberrationFamilies.NameOf(noll[j]) == family)
            {
                double c2 = coefficientNm[j] * coefficientNm[j];
                squares += c2;
                random += c2 * randomNm[j] * randomNm[j];
            }
        }

        return squares > 0 ? Math.Sqrt(random / squares) : double.NaN;
    }

    /// <summary>Mean of the images. Seeing changes between exposures: its scatter is what one night's value is good to, and no number
    /// of pairs makes that better.</summary>
    private static Quantity? Seeing(WavefrontFit fit)
    {
        Measured[] found = [.. fit.Seeing.Where(s => double.IsFinite(s.Value) && s.Value > 0)];
        if (found.Length == 0)
        {
            return null;
        }

        double mean = found.Average(s => s.Value);
        double own = Math.Sqrt(found.Sum(s => s.Uncertainty * s.Uncertainty)) / found.Length;
        double scatter = found.Length > 1 ? Math.Sqrt(found.Sum(s => (s.Value - mean) * (s.Value - mean)) / (found.Length - 1)) : double.NaN;
        double uncertainty = double.IsFinite(own) ? Math.Max(own, double.IsFinite(scatter) ? scatter : own) : scatter > 0 ? scatter : double.NaN;
        return WavefrontQuantities.Seeing.Of(new Measured(mean, uncertainty, "arcsec"), double.NaN, fit.WavelengthNm) with
        {
            Count = found.Length,
            Counted = "images",
        };
    }
}
