using System.Globalization;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Says what was taken off the images where it is more than usual: it is measured and does no harm, but should not be there.</summary>
internal static class NuisanceNotes
{
    /// <summary>Standard uncertainties from which one is told.</summary>
    private const double Sigmas = 5;

    // From which sizes they are worth a word (judgments, no source).
    private const double Response = 0.02;
    private const double TrailArcsec = 0.5;
    private const double Shadow = 0.01;

    public static void Say(WavefrontRequest request, PairPreparation[] prepared, FitRun run, NuisanceFit beside, List<Note> notes)
    {
        // What else does not fit may look like any of them.
        if (run.ChiSquared > FitChecks.MisfitFrom)
        {
            return;
        }

        if (Told(beside, Nuisance.Response, Response) is double uneven)
        {
            notes.Add(WavefrontNotes.UnevenResponse.Say(string.Create(CultureInfo.InvariantCulture,
                $"The camera's response changes by {100 * uneven:F1} % from one edge of the star's disc to the other, by the images themselves. It was taken " +
                    $"off; left in, it looks like coma. Flat-field the frames, or put the star nearer to the middle.")));
        }

        // Half the difference of two variances, square pixels; the pairs' coarsest pixels are meant.
        double arcsec = prepared.Max(p => PixelScale.ArcsecPerPx(p.PitchUm, request.FocalLengthMm));
        if (Told(beside, Nuisance.Trail, TrailArcsec * TrailArcsec / (2 * arcsec * arcsec)) is double elongation)
        {
            notes.Add(WavefrontNotes.Trailed.Say(string.Create(CultureInfo.InvariantCulture,
                $"An image is blurred by {arcsec * Math.Sqrt(2 * elongation):F1} arcsec RMS more in one direction than across it: guiding, wind, or the " +
                    $"air's dispersion low in the sky. It was taken off.")));
        }

        if (Told(beside, Nuisance.Shadow, Shadow) is double away)
        {
            notes.Add(WavefrontNotes.ShadowOffCenter.Say(string.Create(CultureInfo.InvariantCulture,
                $"The secondary's shadow stands {100 * away:F1} % of the aperture's radius off the middle, and was fitted so. A fast Newtonian's " +
                    $"secondary is set off axis, and away from the middle of the field every shadow moves.")));
        }
    }

    /// <summary>Says which vanes were found where none were stated.</summary>
    public static void SayVanes(FitRun run, List<Note> notes)
    {
        if (run.VanesFound)
        {
            IReadOnlyList<Vane> vanes = run.Request.Pupil.Vanes;
            string angles = string.Join(", ", vanes.Select(v => (Math.Round(v.AngleDeg) % 360).ToString("F0", CultureInfo.InvariantCulture)));
            notes.Add(WavefrontNotes.VanesFound.Say(string.Create(CultureInfo.InvariantCulture,
                $"The images show {vanes.Count} vanes {100 * vanes[0].WidthFraction:F1} % of the aperture wide, at {angles} degrees from the sensor's x " +
                    $"axis, and were fitted so. State what holds the secondary if it is another.")));
        }
    }

    private static double? Told(NuisanceFit beside, Nuisance kind, double least) =>
        beside.Largest(kind) is var (value, bar) && value > least && value > Sigmas * bar ? value : null;
}
