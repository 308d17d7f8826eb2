using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What a color focus curve gives to claims.</summary>
internal static class CurveFigures
{
    /// <summary>How well a focuser's scale is known, a share of every length along a focus run (common practice, no source), as for the focus
    /// surface. It makes the whole curve longer or shorter, which no scatter of its bins shows.</summary>
    public const double PositionScale = 0.01;

    /// <summary>Figures of merit of the bins that shaped the curve, in the request's band, light as detected.</summary>
    public static MeritResult Merit(ColorFocusResult curve, ColorFocusRequest request, RunContext context)
    {
        int[] used = [.. Enumerable.Range(0, curve.WavelengthNm.Length).Where(i => curve.Used[i])];
        int replicates = curve.ReplicatesUm.GetLength(0);
        double[] flat = new double[replicates * used.Length];
        for (int b = 0; b < replicates; b++)
        {
            // One standard uncertainty of the scale up and down in turn.
            double scale = curve.FromFocusRun ? 1 + (b % 2 == 0 ? PositionScale : -PositionScale) : 1;
            for (int i = 0; i < used.Length; i++)
            {
                flat[(b * used.Length) + i] = scale * curve.ReplicatesUm[b, used[i]];
            }
        }

        return FiguresOfMerit.Evaluate(
            new MeritRequest
            {
                WavelengthNm = [.. used.Select(i => curve.WavelengthNm[i])],
                ShiftUm = [.. used.Select(i => curve.SmoothUm[i])],
                ReplicatesUm = flat,
                Weight = [.. used.Select(i => curve.RelativeFlux[i])],
                FocalRatio = request.FocalRatio,
                FocalLengthMm = request.FocalLengthMm,
                Obstruction = request.Obstruction,
                BandNm = request.BandNm,
                ReferenceNm = request.ReferenceNm,
            },
            context);
    }

    public static IReadOnlyList<Quantity> Of(ColorFocusResult curve)
    {
        string[] doubts = [.. curve.Notes.Where(n => n.Level == NoteLevel.Doubt).Select(n => n.Text)];
        Quantity Make(QuantityDefinition kind, Measured value) =>
            kind.Of(value) with { Count = curve.PositionsUm.Length, Counted = "spectra", Doubts = doubts };

        var found = new List<Quantity>();
        if (curve.BandMerit is MeritResult merit)
        {
            // A fraction of 1 (or 0) has no spread in any replicate. What the steps of the sum do not resolve can lie on one side of
            // it only: a bound in one direction.
            Quantity fraction = Make(ColorFocusQuantities.InFocusFraction, merit.InFocusFraction);
            found.Add(merit.InFocusFraction.Uncertainty > 1e-6 * merit.LightStep ? fraction : fraction with
            {
                MayBeLess = Math.Min(merit.LightStep, merit.InFocusFraction.Value),
                MayBeMore = Math.Min(merit.LightStep, 1 - merit.InFocusFraction.Value),
            });
            found.Add(Make(ColorFocusQuantities.PolychromaticStrehl, merit.PolychromaticStrehl));
        }

        // Colors too far out of focus to be measured are those that make the range.
        string[] beyond = [.. curve.Notes.Where(n => n.Code == ColorFocusNotes.BeyondWindow.Code).Select(n => n.Text)];
        found.Add(Make(ColorFocusQuantities.FocusRange, curve.FocusRange) with { Doubts = [.. doubts, .. beyond] });
        return found;
    }
}
