using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>What the notes are made from beside stars, fits and laws.</summary>
/// <param name="ReachU">Right edge of the sensor over half its diagonal.</param>
/// <param name="ReachV">Upper edge.</param>
/// <param name="DepthUm">Depth of focus.</param>
/// <param name="InsideUm">Distance of the first frame.</param>
/// <param name="OutsideUm">Distance of the second.</param>
/// <param name="Flexure">Change of tilt between the frames.</param>
internal sealed record FieldFacts(double ReachU, double ReachV, double DepthUm, double InsideUm, double OutsideUm, Measured Flexure);

/// <summary>What the reader must know of a wavefront over the field.</summary>
internal static class WavefrontFieldJudgment
{
    private const int Few = 30;

    // Chi squared of the median star from which the model is called wrong, and far wrong, as in the wavefront of one star.
    private const double MisfitFrom = 1.3, LargeMisfitFrom = 8;

    // Waves of defocus from which the modes are told apart well.
    private const double GoodWaves = 3;

    /// <summary>The notes.</summary>
    public static List<Note> Notes(WavefrontFieldRequest request, PairStars stars, StarFits fits, FieldLaws laws, FieldFacts facts)
    {
        int count = fits.Stars.Length;
        var notes = new List<Note>
        {
            WavefrontFieldNotes.Method.Say(
                $"{count} stars, each with a wavefront of its own up to Noll 11 (focus, astigmatism, coma, trefoil, spherical aberration), fitted by the "
                + "laws of third-order aberrations whose middle may lie anywhere; the scatter of the stars about them makes the uncertainties, and "
                + $"{100 * request.ScaleUncertainty:0.0##} % of every distance from focus for pixel pitch and focal ratio. Which frame is inside of focus is "
                + "believed: exchanged, tilt, curvature, astigmatism and spherical aberration turn their sign, coma does not."),
        };
        if (stars.LeftOut.Length > 0)
        {
            notes.Add(WavefrontFieldNotes.LeftOut.Say($"Of {stars.Matched} stars seen in both frames {stars.LeftOutCount} were left out: {stars.LeftOut}."));
        }

        if (fits.Misfits > 0)
        {
            notes.Add(WavefrontFieldNotes.LeftOut.Say($"{fits.Misfits} of {stars.Stars.Length} fitted stars were left out: their discs do not look like those "
                + "of one star (blends, galaxies, trails)."));
        }

        if (stars.Cut + stars.Clipped + stars.Crowded > 2 * count)
        {
            notes.Add(WavefrontFieldNotes.MostlyUnfit.Say(
                $"Only {count} of {stars.Matched} stars are whole, alone and unclipped. Defocus less or take a less crowded field, and expose so that no star "
                + "clips."));
        }

        if (count < Few)
        {
            notes.Add(WavefrontFieldNotes.FewStars.Say($"Only {count} stars carry the laws over the field. "
                + "A richer field or a longer exposure makes them surer."));
        }

        double reach = 1;
        foreach ((double a, double b) in new[] { (1.0, 1.0), (1, -1), (-1, 1), (-1, -1) })
        {
            reach = Math.Min(reach, Enumerable.Range(0, count).Where(i => laws.U[i] * a > 0 && laws.V[i] * b > 0)
                .Select(i => Math.Sqrt((laws.U[i] * laws.U[i]) + (laws.V[i] * laws.V[i]))).DefaultIfEmpty(0).Max());
        }

        if (reach < 0.6)
        {
            notes.Add(WavefrontFieldNotes.CornersEmpty.Say($"In one quarter of the sensor no star stands farther out than {100 * reach:0} % of the way to the "
                + "corner; what is said of the field beyond is extrapolated."));
        }

        double waves = Math.Min(Math.Abs(facts.InsideUm), Math.Abs(facts.OutsideUm)) / (4 * facts.DepthUm);
        if (waves < GoodWaves)
        {
            notes.Add(WavefrontFieldNotes.LittleDefocus.Say($"One frame is only {waves:F1} waves out of focus in the middle; 5 to 8 are better."));
        }

        Misfits(notes, fits, laws);
        if (facts.Flexure.Value > 4 * facts.Flexure.Uncertainty && facts.Flexure.Value > 0.5 * facts.DepthUm)
        {
            notes.Add(WavefrontFieldNotes.Flexure.Say($"Between the frames the sensor tilted by {facts.Flexure.Value:0} um from corner to corner: the focuser "
                + "or the camera sags. The tilt told is the mean of both frames."));
        }

        double usual = Math.Sqrt(Robust.Median(fits.Each.Select(f => f.FocusVariance)));
        if (laws.Focus.Scatter > 5 * usual && laws.Focus.Scatter > 0.3 * facts.DepthUm)
        {
            notes.Add(WavefrontFieldNotes.NotSmooth.Say($"The stars' best focus scatters by {laws.Focus.Scatter:0} um about the tilted bowl where "
                + $"{usual:0} um are expected: the field bends otherwise, or neighbors disturb the discs."));
        }

        return notes;
    }

    private static void Misfits(List<Note> notes, StarFits fits, FieldLaws laws)
    {
        double chi = Robust.Median(fits.Each.Select(f => f.ChiSquared));
        if (chi > LargeMisfitFrom)
        {
            notes.Add(WavefrontFieldNotes.MisfitLarge.Say(
                $"Chi squared of the median star is {chi:F1} per point: the model does not describe these discs. Check aperture, focal length, obstruction, "
                + "vanes, pixel pitch and wavelength, and whether the gain is in electrons per ADU."));
        }
        else if (chi > MisfitFrom)
        {
            notes.Add(WavefrontFieldNotes.Misfit.Say(
                $"Chi squared of the median star is {chi:F2} per point: modes finer than Noll 22, trailing, a wide passband or undeclared vanes. "
                + "The scatter of the stars, which makes the bars, holds what differs between them; what all share is not in the bars."));
        }

        int n = fits.Each.Length;
        int[] outward = [.. Enumerable.Range(0, n).OrderBy(i => (laws.U[i] * laws.U[i]) + (laws.V[i] * laws.V[i]))];
        double inner = Robust.Median(outward[..(n / 2)].Select(i => fits.Each[i].ChiSquared));
        double outer = Robust.Median(outward[^(n / 4)..].Select(i => fits.Each[i].ChiSquared));
        if (outer > 3 && outer > 2 * inner)
        {
            notes.Add(WavefrontFieldNotes.Vignetted.Say($"Chi squared grows from {inner:F1} to {outer:F1} towards the corners: "
                + "the pupil is probably cut there, "
                + "which the fit does not know. Modes in the corners, and what grows with the field, may be off."));
        }
    }
}
