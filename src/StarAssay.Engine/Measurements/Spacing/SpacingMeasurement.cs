using MathNet.Numerics.Distributions;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Spacing;

/// <summary>The best distance between reducer or flattener and sensor from the field curvature at several.</summary>
/// <remarks>
/// Near the best distance the third-order curvature and astigmatism of a lens group change linearly with the air space (common practice,
/// no source), so that the sag is a straight line and the best distance its root.
/// </remarks>
public static class SpacingMeasurement
{
    // A slope must stand out by this many of its standard uncertainties, a second order by that many.
    private const double SlopeTold = 4, BendTold = 3;

    // How far outside of those tried the best distance may lie, and how unsure it may be, as a share of their span.
    private const double Reach = 0.5;

    private const double ScatterTold = 4;

    // Accepted risk that a direction is wrong, as for claims; and how far runs must be from what was stated.
    private const double Risk = 0.05, DiffersTold = 3;

    // Relative standard uncertainty of a stated slope that comes without one (common practice, no source).
    private const double StatedTo = 0.2;

    private const int CurvePoints = 81;

    /// <summary>Measures the spacing.</summary>
    /// <exception cref="InputException">Lists of unequal length, several runs at one distance only, a value out of range, statements that
    /// contradict each other.</exception>
    [Measurement("spacing", "Spacing")]
    public static SpacingResult Measure(SpacingRequest request, RunContext context)
    {
        FieldRules.Require(request);
        Check(request);
        if (request.DistancesMm.Count == 1)
        {
            return OneDistance.Measure(request);
        }

        context.Report(0.5, "fitting the field curvature");
        double[] distance = [.. request.DistancesMm];
        double low = distance.Min(), high = distance.Max(), span = high - low, present = Present(request);
        SagFit Fit(int degree) => SagFit.Of(distance, request.SagsUm, request.SagUncertaintiesUm, request.DistanceUncertaintyMm, degree);
        SagFit line = Fit(1), fit = line;
        Measured bend = Measured.None("um / mm2");
        if (distance.Distinct().Count() > 2)
        {
            SagFit parabola = Fit(2);
            (double value, double sigma) = parabola.Coefficient(2);
            bend = new Measured(value, sigma, "um / mm2");
            fit = Math.Abs(value) > BendTold * sigma ? parabola : line;
        }

        (double best, double bar) = fit.Root();
        (double Value, double Sigma) slope = fit.Slope(double.IsFinite(best) ? best : (low + high) / 2);
        bool told = double.IsFinite(best + bar) && Math.Abs(slope.Value) > SlopeTold * slope.Sigma && bar < Reach * span;
        double outside = Math.Max(0, Math.Max(low - best, best - high));
        bool near = told && outside <= Reach * span;
        double depth = Depth(request);
        Measured spacing = told ? new Measured(best, bar, "mm") : Measured.None("mm");

        // What is added goes on top of the present distance, which is as unsure as each of the others.
        Measured change = told ? new Measured(best - present, Hypot(bar, request.DistanceUncertaintyMm), "mm") : Measured.None("mm");
        List<Note> notes = Notes(request, fit, ReferenceEquals(fit, line), told, outside, bend, slope, spacing, present);
        string[] doubts = [.. notes.Where(n => n.Level == NoteLevel.Doubt).Select(n => n.Text)];
        Quantity Claimed(QuantityDefinition kind, Measured value) =>
            kind.Of(value, value.Uncertainty) with { Count = distance.Length, Counted = "focus runs", Doubts = doubts };
        (double first, double last) = near ? (Math.Min(low, best), Math.Max(high, best)) : (low, high);
        double[] curve = [.. Enumerable.Range(0, CurvePoints).Select(k => first - (0.1 * span) + ((last - first + (0.2 * span)) * k / (CurvePoints - 1)))];
        (double now, double unsure) = fit.At(present);
        return new SpacingResult
        {
            BestSpacing = spacing,
            SpacingChange = change,
            Decided = near,
            Direction = told && !request.Doubtful ? Side(change, double.PositiveInfinity) : SpacingDirection.NotDecided,
            PresentDistanceMm = present,
            PresentSag = new Measured(now, unsure, "um"),
            SagSlope = new Measured(slope.Value, slope.Sigma, "um / mm"),
            SagBend = bend,
            AstigmaticSplit = Measured.None("um"),
            CornerHeightMm = request.CornerHeightMm,
            Straight = ReferenceEquals(fit, line),
            ReducedChiSquared = fit.ReducedChiSquared,
            ToleranceMm = told ? depth / Math.Abs(slope.Value) : double.NaN,
            DepthOfFocusUm = depth,
            FocalRatio = request.FocalRatio,
            DistancesMm = distance,
            SagsUm = [.. request.SagsUm],
            SagUncertaintiesUm = fit.Sigma,
            SagModelUm = [.. distance.Select(d => fit.At(d).Value)],
            CurveDistanceMm = curve,
            CurveSagUm = [.. curve.Select(d => fit.At(d).Value)],
            CurveUncertaintyUm = [.. curve.Select(d => fit.At(d).Sigma)],
            CornerBlurUm = [.. curve.Select(d => Math.Abs(fit.At(d).Value) / request.FocalRatio)],
            Quantities = told ? [Claimed(SpacingQuantities.Best, spacing), Claimed(SpacingQuantities.Change, change)] : [],
            Notes = notes,
        };
    }

    /// <summary>Depth of focus to either side, um.</summary>
    internal static double Depth(SpacingRequest request) => 2 * request.WavelengthNm / 1000 * request.FocalRatio * request.FocalRatio;

    /// <summary>On which side of the best distance one lies that needs this change, or that the data do not tell it with the accepted risk.</summary>
    internal static SpacingDirection Side(Measured change, double degreesOfFreedom) =>
        !(Math.Abs(change.Value) > RiskFactor(degreesOfFreedom) * change.Uncertainty) ? SpacingDirection.NotDecided
        : change.Value > 0 ? SpacingDirection.TooNear : SpacingDirection.TooFar;

    /// <summary>How many standard uncertainties a value stands from zero for a risk of 5 % that its sign is wrong.</summary>
    internal static double RiskFactor(double degreesOfFreedom) =>
        double.IsFinite(degreesOfFreedom) ? StudentT.InvCDF(0, 1, degreesOfFreedom, 1 - Risk) : Normal.InvCDF(0, 1, 1 - Risk);

    /// <summary>What is to be said of any spacing.</summary>
    internal static IEnumerable<Note> Always() =>
    [
        SpacingNotes.FocusAndScale.Say(
            "Another distance moves the focus and, with a reducer, changes focal length and plate scale: refocus, check that the focuser still reaches, and "
            + "measure the plate scale again."),
        SpacingNotes.Astigmatism.Say(
            "The mean of tangential and sagittal focus is made flat. Astigmatism and coma stay in the corners at the best distance; their amount is not told "
            + "here: look at the shapes of the stars there."),
    ];

    private static List<Note> Notes(SpacingRequest request, SagFit fit, bool straight, bool told, double outside, Measured bend,
        (double Value, double Sigma) slope, Measured best, double present)
    {
        double low = request.DistancesMm.Min(), high = request.DistancesMm.Max();
        int different = request.DistancesMm.Distinct().Count();
        string Tried() => $"{low:0.##} to {high:0.##} mm";
        var notes = new List<Note>
        {
            SpacingNotes.Method.Say(
                $"Field curvature from focus runs at {different} distances, fitted by a {(straight ? "straight line" : "parabola")}; each distance counts as "
                + $"known to {request.DistanceUncertaintyMm:0.###} mm against the others. Scatter beyond the uncertainties widens the bars. What all distances "
                + "have wrong alike shifts the best distance, not the change."),
        };
        if (!told)
        {
            notes.Add(SpacingNotes.NotTold.Say(
                $"The best distance is not decided: between {Tried()} the field curvature changes by {slope.Value:+0.0;-0.0} ± {slope.Sigma:0.0} um for each "
                + "mm, which does not tell where it vanishes. Take runs at distances farther apart, with more frames or stars."));
        }
        else if (outside > Reach * (high - low))
        {
            notes.Add(SpacingNotes.FarOutside.Say(
                $"The field curves the same way at all distances from {Tried()}. It would vanish {outside:0.0} mm outside of them, too far to be "
                + $"trusted: not decided. The distance has to become {(best.Value > present ? "larger" : "smaller")}; "
                + $"take a run nearer to {best.Value:0.0} mm."));
        }
        else if (outside > 0)
        {
            notes.Add(SpacingNotes.Extrapolated.Say(
                $"The best distance lies {outside:0.00} mm outside of those tried, {Tried()}. A run on its other side would make it sure."));
        }

        if (different < 3)
        {
            notes.Add(SpacingNotes.TwoDistances.Say(
                "Two distances always lie on a straight line; whether the field curvature follows one is not seen. Take a run at a third distance."));
        }
        else if (!straight)
        {
            notes.Add(SpacingNotes.NotStraight.Say(
                $"The field curvature does not follow a straight line ({bend.Value:+0.0;-0.0} ± {bend.Uncertainty:0.0} um for each squared mm); a parabola is "
                + "used. Is each distance right, and did only the distance change?"));
        }

        if (fit.ReducedChiSquared > ScatterTold)
        {
            notes.Add(SpacingNotes.Scatter.Say(
                $"The runs scatter by {Math.Sqrt(fit.ReducedChiSquared):0.0} times their uncertainties about the fit: a distance is wrong, or tilt or seeing "
                + "changed. The bars hold that scatter."));
        }

        if (Stated(request) is { } stated && Math.Abs(stated.Value - slope.Value) > DiffersTold * Hypot(stated.Sigma, slope.Sigma))
        {
            notes.Add(SpacingNotes.SlopeDiffers.Say(
                $"The runs show that the sag changes by {slope.Value:+0.0;-0.0} ± {slope.Sigma:0.0} um for each mm; {stated.Value:+0.0;-0.0} ± "
                + $"{stated.Sigma:0.0} um was stated. The runs are believed."));
        }

        notes.AddRange(Always());
        return notes;
    }

    /// <summary>The stated slope at this sensor's corner with its standard uncertainty; null where none is.</summary>
    internal static (double Value, double Sigma)? Stated(SpacingRequest request)
    {
        if (double.IsNaN(request.KnownSlope))
        {
            return null;
        }

        // A bowl grows with the squared height.
        double scale = double.IsNaN(request.KnownHeightMm) ? 1 : Math.Pow(request.CornerHeightMm / request.KnownHeightMm, 2);
        double sigma = double.IsNaN(request.KnownSlopeUncertainty) ? StatedTo * Math.Abs(request.KnownSlope) : request.KnownSlopeUncertainty;
        return (scale * request.KnownSlope, scale * sigma);
    }

    internal static double Present(SpacingRequest request) => double.IsNaN(request.PresentDistanceMm) ? request.DistancesMm[^1] : request.PresentDistanceMm;

    internal static double Hypot(double a, double b) => Math.Sqrt((a * a) + (b * b));

    private static void Check(SpacingRequest request)
    {
        int runs = request.DistancesMm.Count;
        if (request.SagsUm.Count != runs || request.SagUncertaintiesUm.Count != runs)
        {
            throw new InputException("spacing.lengths",
                $"{runs} distances need {runs} sags and uncertainties, {request.SagsUm.Count} and {request.SagUncertaintiesUm.Count} are given.", "distances");
        }

        if (runs != 1 && request.DistancesMm.Distinct().Count() < 2)
        {
            throw new InputException("spacing.distances",
                $"{runs} runs stand at {request.DistancesMm.Distinct().Count()} different distance(s). Give one run, or runs at two distances, better three.",
                "distances");
        }

        if (!request.SagUncertaintiesUm.All(s => s > 0))
        {
            throw new InputException("spacing.uncertainties", "A sag without uncertainty has no weight. Give one above 0 for each.", "sag_uncertainties");
        }

        if (!double.IsNaN(request.KnownHeightMm) && double.IsNaN(request.CornerHeightMm))
        {
            throw new InputException("spacing.height", "known_height needs the height of this sensor's corner. Give it, or the slope at this corner.",
                "known_height");
        }

        if (request.TooNear != CornerFocus.Unknown && Math.Sign(double.IsNaN(request.KnownSlope) ? 0 : request.KnownSlope)
            == (request.TooNear == CornerFocus.Inward ? -1 : 1))
        {
            throw new InputException("spacing.contradiction",
                $"known_slope is {request.KnownSlope:0.###} um for each mm, but too_near says "
                + $"{(request.TooNear == CornerFocus.Inward ? "inward" : "outward")}: corners that focus inward when too near have a positive slope. Give "
                + "one of the two.", "too_near");
        }

        if (runs == 1 && double.IsNaN(request.KnownSlope) && !double.IsNaN(request.PresentDistanceMm) && request.PresentDistanceMm != request.DistancesMm[0])
        {
            throw new InputException("spacing.present", "From one distance nothing is known of another. Leave present_distance out, or give known_slope.",
                "present_distance");
        }
    }
}
