using System.Globalization;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>One side of a comparison: what was measured, and under which conditions.</summary>
public sealed record ComparedSide
{
    /// <summary>Name of the telescope, or of its state.</summary>
    public required string Name { get; init; }

    /// <summary>What was measured.</summary>
    public required Quantity Quantity { get; init; }

    /// <summary>The seeing of that night; null when not known.</summary>
    public Quantity? Seeing { get; init; }

    /// <summary>Diagonal of the sensor, mm; NaN when not known.</summary>
    public double DiagonalMm { get; init; } = double.NaN;

    /// <summary>What the number is for beside its wavelength, such as a band; empty for nothing.</summary>
    public string Basis { get; init; } = string.Empty;
}

/// <summary>One quantity of two telescopes, or of one before and after.</summary>
public sealed record QuantityComparisonRequest
{
    /// <summary>The one that the other is held against.</summary>
    public required ComparedSide First { get; init; }

    /// <summary>The other.</summary>
    public required ComparedSide Second { get; init; }

    /// <summary>True when both were measured with one telescope and camera by the same data: what all measurements share then cancels.</summary>
    public bool SameSetup { get; init; }

    /// <summary>Coverage factor of the score.</summary>
    public double CoverageFactor { get; init; } = 2;
}

/// <summary>One quantity compared, or why it is not.</summary>
/// <param name="Comparable">False when conditions were too unlike, or a number is in doubt.</param>
/// <param name="Ranking">The better one, when the score exceeds 1; not told apart where neither is better or nothing is decided.</param>
/// <param name="Differ">True when they are told apart, whichever is better.</param>
/// <param name="Difference">Second minus first; its uncertainty holds what the air may have done to it.</param>
/// <param name="Score">Difference over its expanded uncertainty, bounds in one direction taken at their worst.</param>
/// <param name="Reason">One sentence.</param>
public sealed record QuantityComparison(bool Comparable, Ranking Ranking, bool Differ, Measured Difference, double Score, string Reason)
{
    /// <summary>Largest ratio of two seeings under which widths through the air are compared (a judgment, no source).</summary>
    public const double LikeSeeing = 1.25;

    /// <summary>Largest relative difference of two sensors whose corners are compared (a judgment, no source).</summary>
    public const double LikeFormat = 0.03;

    /// <summary>Compares, when the footing is the same.</summary>
    /// <remarks>The score is the En number in the sense of ISO/IEC 17043 (named from memory). With one setup the common parts of both
    /// uncertainties are fully correlated (JCGM 100, 5.2.2) and only their difference counts. A width through the air goes with the seeing at
    /// most in proportion: the seeings' ratio, where it is small, is a further standard uncertainty of the difference.</remarks>
    [EngineTask("decisions.compare-quantities")]
    public static QuantityComparison Of(QuantityComparisonRequest request)
    {
        InputException.RequireRange(request.CoverageFactor, 1, 5, "coverage_factor", string.Empty);
        (ComparedSide a, ComparedSide b) = (request.First, request.Second);
        QuantityDefinition kind = a.Quantity.Definition;
        if (kind.Name != b.Quantity.Name)
        {
            throw new InputException("decision.comparison", $"{a.Name} brings '{kind.Name}', {b.Name} '{b.Quantity.Name}'. Compare in one quantity.",
                "second", b.Name);
        }

        if (Unlike(kind, a, b) is string why)
        {
            return new QuantityComparison(false, Ranking.NotToldApart, false, Measured.None(kind.Unit), double.NaN, $"{Start(kind)} is not compared: {why}");
        }

        double difference = b.Quantity.Value.Value - a.Quantity.Value.Value;
        double variance = Variance(a.Quantity, b.Quantity, request.SameSetup);

        // Nothing but common parts would leave no uncertainty at all: then they are not taken to cancel.
        double u = Math.Sqrt((variance > 0 ? variance : Variance(a.Quantity, b.Quantity, false)) + Math.Pow(Air(kind, a, b), 2));

        // What may be missing in one direction is taken from the difference.
        double bound = difference > 0 ? b.Quantity.MayBeLess + a.Quantity.MayBeMore : a.Quantity.MayBeLess + b.Quantity.MayBeMore;
        double score = Math.CopySign(Math.Max(0, Math.Abs(difference) - bound), difference) / (request.CoverageFactor * u);
        bool differ = Math.Abs(score) > 1;
        Ranking ranking = !differ || kind.LargerIsBetter is not bool larger ? Ranking.NotToldApart
            : score > 0 == larger ? Ranking.Second : Ranking.First;
        var measured = new Measured(difference, u, kind.Unit);
        string values = $"{Words.PlusMinus(a.Quantity.Value)} ({a.Name}) and {Words.PlusMinus(b.Quantity.Value)} ({b.Name})";
        string verdict = ranking switch
        {
            Ranking.First => $"{a.Name} is the better one",
            Ranking.Second => $"{b.Name} is the better one",
            _ => differ ? "they differ" : "not told apart by these data",
        };
        return new QuantityComparison(true, ranking, differ, measured, score,
            $"{Start(kind)}: {values}: {verdict} (difference {Words.PlusMinus(measured)}).");
    }

    /// <summary>Why the two cannot be compared, a sentence; null when they can.</summary>
    private static string? Unlike(QuantityDefinition kind, ComparedSide a, ComparedSide b)
    {
        foreach (ComparedSide side in new[] { a, b })
        {
            if (side.Quantity.Doubts.Count > 0)
            {
                return $"the number of {side.Name} is in doubt. {side.Quantity.Doubts[0]}";
            }

            if (!double.IsFinite(side.Quantity.Value.Value) || !(side.Quantity.Value.Uncertainty > 0))
            {
                return $"{side.Name} has no value with an uncertainty. Repeat that measurement.";
            }
        }

        (double la, double lb) = (a.Quantity.WavelengthNm, b.Quantity.WavelengthNm);
        if (double.IsFinite(la) != double.IsFinite(lb) || Math.Abs((la / lb) - 1) > Judgment.SameWavelength)
        {
            return $"it was measured {At(la)} for {a.Name} and {At(lb)} for {b.Name}. Use one filter for both.";
        }

        if (a.Basis != b.Basis)
        {
            return $"it holds for {Said(a.Basis)} with {a.Name} and for {Said(b.Basis)} with {b.Name}. Measure both for the same.";
        }

        if (kind.DependsOn.HasFlag(DependsOn.Night))
        {
            return "it is that of the night and says nothing about a telescope.";
        }

        if (kind.DependsOn.HasFlag(DependsOn.Format) && !(Math.Abs((a.DiagonalMm / b.DiagonalMm) - 1) <= LikeFormat))
        {
            return double.IsFinite(a.DiagonalMm + b.DiagonalMm)
                ? $"it speaks of the corners of the sensor, and those are of {Mm(a.DiagonalMm)} and {Mm(b.DiagonalMm)} diagonal. Use one camera for both."
                : "it speaks of the corners of the sensor, whose size is not known for both. Say the pixel pitch under [camera].";
        }

        if (kind.DependsOn.HasFlag(DependsOn.Air))
        {
            if (a.Seeing is null || b.Seeing is null)
            {
                return $"the air is part of it, and the seeing of {(a.Seeing is null ? a.Name : b.Name)} is not known. Take a defocused pair on the same " +
                    "night, or both telescopes side by side and say the seeing.";
            }

            double ratio = Ratio(a, b);
            if (!(Math.Abs(Math.Log(ratio)) <= Math.Log(LikeSeeing)))
            {
                return $"the air is part of it, and the seeing was {Arcsec(a)} for {a.Name} and {Arcsec(b)} for {b.Name}. Take both in one night.";
            }
        }

        return null;
    }

    private static double Variance(Quantity a, Quantity b, bool sameSetup)
    {
        double u2 = (a.Value.Uncertainty * a.Value.Uncertainty) + (b.Value.Uncertainty * b.Value.Uncertainty);
        if (!sameSetup || !double.IsFinite(a.RandomPart + b.RandomPart))
        {
            return u2;
        }

        double Common2(Quantity q) => Math.Max(0, (q.Value.Uncertainty * q.Value.Uncertainty) - (q.RandomPart * q.RandomPart));
        return u2 - (2 * Math.Sqrt(Common2(a) * Common2(b)));
    }

    /// <summary>What the seeings' ratio may have done to the difference, in the quantity's unit.</summary>
    private static double Air(QuantityDefinition kind, ComparedSide a, ComparedSide b) => kind.DependsOn.HasFlag(DependsOn.Air)
        ? Math.Max(Math.Abs(a.Quantity.Value.Value), Math.Abs(b.Quantity.Value.Value)) * Math.Abs(Math.Log(Ratio(a, b)))
        : 0;

    private static double Ratio(ComparedSide a, ComparedSide b) => At500(a.Seeing!) / At500(b.Seeing!);

    // Without a wavelength it is taken as stated for 500 nm.
    private static double At500(Quantity seeing) =>
        Seeing.ScaleFwhm(seeing.Value.Value, double.IsFinite(seeing.WavelengthNm) ? seeing.WavelengthNm : 500, 500);

    private static string Start(QuantityDefinition kind) => char.ToUpperInvariant(kind.Label[0]) + kind.Label[1..];

    private static string At(double nm) => double.IsFinite(nm) ? "at " + nm.ToString("G4", CultureInfo.InvariantCulture) + " nm" : "at no stated wavelength";

    private static string Said(string basis) => basis.Length > 0 ? basis : "nothing that is stated";

    private static string Mm(double mm) => mm.ToString("F1", CultureInfo.InvariantCulture) + " mm";

    private static string Arcsec(ComparedSide side) => side.Seeing!.Value.Value.ToString("F1", CultureInfo.InvariantCulture) + " arcsec";
}
