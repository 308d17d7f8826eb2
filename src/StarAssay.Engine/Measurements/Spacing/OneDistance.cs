using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Spacing;

/// <summary>What the field curvature at one distance tells, with what is known of the corrector.</summary>
/// <remarks>
/// The sag vanishes where the stated line through it does; with the sign of its slope alone the direction is told. Neither is in the data: a
/// field that bends towards the objective stands too near with one corrector and too far with another.
///
/// Astigmatism is a second witness. An air space is no part of the Petzval sum, so that, to third order, tangential less sagittal focus
/// changes with the distance by as much as their mean does (Welford, "Aberrations of Optical Systems", from memory; drawn correctors traced
/// surface by surface keep it within 6 %). A corrector that leaves neither at its right distance therefore shows both with one sign.
/// </remarks>
internal static class OneDistance
{
    // A stated slope must stand out by so many of its standard uncertainties for a number, as a fitted one.
    private const double SlopeTold = 4;

    // How far a straight line is believed: drawn correctors keep it to about a tenth.
    private const double ReachMm = 4;

    // What the sag of a weak corrector changes by for each mm at the corner (drawn correctors), and the least and largest step that is asked for.
    private const double WeakSlope = 5, LeastStepMm = 1, MostStepMm = 3;

    private const int CurvePoints = 81;

    /// <summary>Measures.</summary>
    /// <param name="request">With one distance.</param>
    public static SpacingResult Measure(SpacingRequest request)
    {
        double distance = request.DistancesMm[0], present = SpacingMeasurement.Present(request), depth = SpacingMeasurement.Depth(request);
        var sag = new Measured(request.SagsUm[0], request.SagUncertaintiesUm[0], "um");
        var split = new Measured(request.SplitUm, request.SplitUncertaintyUm, "um");
        double freedom = double.IsNaN(request.DegreesOfFreedom) ? double.PositiveInfinity : request.DegreesOfFreedom;
        (double Value, double Sigma)? stated = SpacingMeasurement.Stated(request);
        bool told = stated is { } known && Math.Abs(known.Value) > SlopeTold * known.Sigma;
        (double slope, double unsure) = stated ?? (double.NaN, double.NaN);
        Measured change = told ? Change(sag, slope, unsure, distance - present) : Measured.None("mm");
        Measured best = told ? new Measured(present + change.Value, SpacingMeasurement.Hypot(change.Uncertainty, request.DistanceUncertaintyMm), "mm")
            : Measured.None("mm");
        int sign = stated is null ? request.TooNear switch { CornerFocus.Inward => 1, CornerFocus.Outward => -1, _ => 0 } : Math.Sign(slope);

        // With the slope's sign alone the sag decides; an unsure slope has to carry its own sign as well.
        Measured towards = told ? change
            : stated is null ? new Measured(-sign * sag.Value, sag.Uncertainty, "um")
            : Change(sag, slope, unsure, distance - present);
        bool contradicted = Clear(sag, freedom) && Clear(split, freedom) && Math.Sign(sag.Value) != Math.Sign(split.Value);
        SpacingDirection direction = sign == 0 || contradicted || request.Doubtful ? SpacingDirection.NotDecided : SpacingMeasurement.Side(towards, freedom);
        bool far = told && Math.Abs(change.Value) > ReachMm;
        var left = new Measured(split.Value - sag.Value, SpacingMeasurement.Hypot(split.Uncertainty, sag.Uncertainty), "um");
        List<Note> notes = Notes(request, sag, split, stated, sign, freedom, contradicted, far ? change : null);
        if (!contradicted && Clear(left, freedom) && Math.Abs(left.Value) > depth)
        {
            notes.Add(SpacingNotes.AstigmatismLeft.Say(
                "Another distance changes the difference of tangential and sagittal focus by as much as the sag, to third order: where the field is flat the "
                + $"two would part by {left.Value:+0;-0} ± {left.Uncertainty:0} um at the corners. The corrector may leave that, or not suit this telescope."));
        }

        string[] doubts = [.. notes.Where(n => n.Level == NoteLevel.Doubt).Select(n => n.Text)];
        Quantity Claimed(QuantityDefinition kind, Measured value) => kind.Of(value, sag.Uncertainty / Math.Abs(slope)) with
        {
            Count = 1,
            Counted = "focus runs",
            DegreesOfFreedom = freedom,
            Doubts = doubts,
        };
        (double low, double high) = (Math.Min(Math.Min(distance, present), best.Value), Math.Max(Math.Max(distance, present), best.Value));
        double margin = Math.Max(0.5, 0.15 * (high - low));
        double[] curve = told
            ? [.. Enumerable.Range(0, CurvePoints).Select(k => low - margin + ((high - low + (2 * margin)) * k / (CurvePoints - 1)))] : [];
        double At(double d) => sag.Value + (slope * (d - distance));
        double Unsure(double d) => d == distance ? sag.Uncertainty : SpacingMeasurement.Hypot(sag.Uncertainty, unsure * (d - distance));
        return new SpacingResult
        {
            BestSpacing = best,
            SpacingChange = change,
            Decided = told && !far && change.Uncertainty < ReachMm && !contradicted,
            Direction = direction,
            PresentDistanceMm = present,
            PresentSag = new Measured(present == distance ? sag.Value : At(present), Unsure(present), "um"),
            SagSlope = new Measured(slope, unsure, "um / mm"),
            SagBend = Measured.None("um / mm2"),
            AstigmaticSplit = split,
            CornerHeightMm = request.CornerHeightMm,
            Straight = true,
            ReducedChiSquared = double.NaN,
            ToleranceMm = told ? depth / Math.Abs(slope) : double.NaN,
            DepthOfFocusUm = depth,
            FocalRatio = request.FocalRatio,
            DistancesMm = [distance],
            SagsUm = [sag.Value],
            SagUncertaintiesUm = [sag.Uncertainty],
            SagModelUm = [sag.Value],
            CurveDistanceMm = curve,
            CurveSagUm = [.. curve.Select(At)],
            CurveUncertaintyUm = [.. curve.Select(Unsure)],
            CornerBlurUm = [.. curve.Select(d => Math.Abs(At(d)) / request.FocalRatio)],
            Quantities = told ? [Claimed(SpacingQuantities.Best, best), Claimed(SpacingQuantities.Change, change)] : [],
            Notes = notes,
        };
    }

    // As the root of a fitted line: an unsure slope widens more than first order says (Fieller 1954, from memory).
    private static Measured Change(Measured sag, double slope, double unsure, double offset)
    {
        double root = -sag.Value / slope, share = Math.Pow(unsure / slope, 2);
        double sigma = SpacingMeasurement.Hypot(sag.Uncertainty, unsure * root) / Math.Abs(slope);
        return new Measured(root + offset, share < 1 ? sigma / Math.Sqrt(1 - share) : double.PositiveInfinity, "mm");
    }

    private static bool Clear(Measured value, double freedom) => Math.Abs(value.Value) > SpacingMeasurement.RiskFactor(freedom) * value.Uncertainty;

    private static List<Note> Notes(SpacingRequest request, Measured sag, Measured split, (double Value, double Sigma)? stated, int sign, double freedom,
        bool contradicted, Measured? far)
    {
        double step = Math.Clamp(Math.Ceiling(SlopeTold * Math.Sqrt(2) * sag.Uncertainty / WeakSlope), LeastStepMm, MostStepMm);
        string other = $"Take one more focus run with the distance changed by {step:0} mm";
        var notes = new List<Note>
        {
            SpacingNotes.Method.Say(
                "Field curvature from a focus run at one distance. A direction is said when the risk that it is wrong is at most 5 %, as far as the bars and "
                + "what was stated of the corrector hold."),
        };
        if (sign == 0)
        {
            notes.Add(SpacingNotes.CorrectorUnknown.Say(
                $"Too near or too far is not decided: which way the field bends when the distance is too small depends on the corrector. {other}, either "
                + "way, or state what is known: known_slope (um of sag for each mm, from its maker or from runs at several distances) or too_near."));
        }
        else
        {
            string what = stated is { } s ? $"the sag changes by {s.Value:+0.0;-0.0} ± {s.Sigma:0.0} um for each mm"
                : $"the corners focus {(sign > 0 ? "towards" : "away from")} the objective when it is too near";
            notes.Add(SpacingNotes.OneDistance.Say(
                $"One distance: the answer rests on the statement that with this corrector {what}, and on a field that is flat at the right distance. {other} "
                + "to check it."));
        }

        if (contradicted)
        {
            notes.Add(SpacingNotes.ShapesContradict.Say(
                $"The corners focus {sag.Value:+0;-0} ± {sag.Uncertainty:0} um from the middle, but tangential and sagittal focus part by "
                + $"{split.Value:+0;-0} ± {split.Uncertainty:0} um: a wrong distance alone gives both one sign. The corrector may not suit this telescope, or "
                + $"leave astigmatism at its right distance: not decided. {other}, either way."));
        }
        else if (Clear(split, freedom) && Clear(sag, freedom))
        {
            notes.Add(SpacingNotes.ShapesAgree.Say(
                $"Tangential and sagittal focus part by {split.Value:+0;-0} ± {split.Uncertainty:0} um at the corners, with the sign of the sag, as a wrong "
                + "distance makes it."));
        }

        if (far is { } change)
        {
            notes.Add(SpacingNotes.FarOutside.Say(
                $"The field would be flat {Math.Abs(change.Value):0.0} mm away, too far for a straight line to be trusted: not decided. Take a run with the "
                + $"distance made {(change.Value > 0 ? "larger" : "smaller")} by {MostStepMm:0} mm."));
        }

        notes.AddRange(SpacingMeasurement.Always());
        return notes;
    }
}
