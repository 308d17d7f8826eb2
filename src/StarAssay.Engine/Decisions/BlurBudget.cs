using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>Splits the blur of a focused star into what is known of its causes.</summary>
/// <remarks>
/// Widths add in quadrature, which is exact for Gaussians and 2 to 2.5 % low for a telescope under seeing at D/r0 of 2 to
/// 5 (check-value table of the project, computed with the Kolmogorov long-exposure formula), so that small parts are only rough. Diffraction:
/// FWHM 1.029 lambda/D, from the Airy pattern. Optics: aberration lowers the peak by the Strehl ratio S and spreads the
/// light over an area 1/S as large, so its own width is taken as 1.029 lambda/D sqrt(1/S - 1) (own estimate, good for
/// S above 0.3). Pixels: the width of a square pixel as a Gaussian of the same variance, 2.3548/sqrt(12) of its side.
/// </remarks>
internal static class BlurBudget
{
    private const double AiryFwhm = 1.02899;
    private const double FwhmPerSigma = 2.35482;

    public static (IReadOnlyList<BlurPart> Parts, string LimitedBy, string Limit) Split(AdviceRequest request, List<Note> notes)
    {
        double whole = request.StarFwhmArcsec;
        double uncertainty = request.StarFwhmUncertainty;
        if (!(whole > 0))
        {
            return ([], string.Empty, "No focused star field was measured, so what limits the images is not known.");
        }

        double diffraction = AiryFwhm * request.FieldWavelengthNm * 1e-6 / request.ApertureMm * Seeing.ArcsecPerRadian;
        var parts = new List<BlurPart> { Part("diffraction", diffraction, 0, whole, "The aperture alone; only a larger one makes it smaller.") };
        if (request.Strehl is > 0.05 and <= 1)
        {
            parts.Add(Part("optics", diffraction * Math.Sqrt((1 / request.Strehl) - 1), 0, whole,
                "The wavefront error on the axis, without focus; see the wavefront's table."));
        }

        if (request.PixelArcsec > 0)
        {
            parts.Add(Part("pixels", request.PixelArcsec * FwhmPerSigma / Math.Sqrt(12), 0, whole, "The camera's pixels; a longer focal length makes them smaller on the sky."));
        }

        bool seeingKnown = request.SeeingFwhmArcsec > 0;
        if (seeingKnown)
        {
            parts.Add(Part("seeing", request.SeeingFwhmArcsec, request.SeeingFwhmUncertainty, whole, "The air; another night, a higher star, or a cooler tube."));
        }

        double rest = (whole * whole) - parts.Sum(p => p.FwhmArcsec.Value * p.FwhmArcsec.Value);
        double seeingVariance = seeingKnown && request.SeeingFwhmUncertainty > 0 ? 2 * request.SeeingFwhmArcsec * request.SeeingFwhmUncertainty : 0;
        double restVariance = Math.Sqrt(Math.Pow(uncertainty > 0 ? 2 * whole * uncertainty : 0, 2) + (seeingVariance * seeingVariance));
        if (rest < -Math.Max(2 * restVariance, 0.05 * whole * whole))
        {
            notes.Add(DecisionNotes.BlurMismatch.Say(
                $"The known parts explain {Words.Plain(Math.Sqrt((whole * whole) - rest), "arcsec")} of blur, more than the stars' {Words.Plain(whole, "arcsec")}: the seeing changed between the tests, or a stated value is wrong."));
        }

        double restFwhm = Math.Sqrt(Math.Max(rest, 0));
        parts.Add(Part(seeingKnown ? "the rest" : "seeing and the rest", restFwhm,
            restFwhm > 0 ? restVariance / (2 * restFwhm) : Math.Sqrt(restVariance), whole,
            seeingKnown ? "Focus, tracking, vibration, color error over the passband, seeing that changed: refocus and compare."
                : "Seeing, focus, tracking and color error together: a defocused pair or a second focus position tells them apart."));
        parts.Sort((a, b) => b.FwhmArcsec.Value.CompareTo(a.FwhmArcsec.Value));
        BlurPart top = parts[0];
        string together = rest < -0.05 * whole * whole
            ? $" All known parts together would give {Words.Plain(Math.Round(Math.Sqrt((whole * whole) - rest), 2), "arcsec")}: the seeing was measured with other frames than the stars."
            : "";
        return (parts, top.Name,
            $"The stars' FWHM of {Words.PlusMinus(whole, uncertainty, "arcsec")} comes mostly from {Named(top.Name)}: {Words.Plain(Math.Round(top.FwhmArcsec.Value, 2), "arcsec")} by itself, {Words.Percent(Math.Min(top.Share, 1))} of the squared width.{together}");
    }

    private static string Named(string part) => part switch
    {
        "seeing" => "the seeing",
        "pixels" => "the pixels",
        "optics" => "the optics",
        "the rest" => "what the known causes leave over (focus, tracking, color)",
        "seeing and the rest" => "seeing, focus, tracking and color together",
        _ => part,
    };

    private static BlurPart Part(string name, double fwhm, double uncertainty, double whole, string meaning) =>
        new(name, new Measured(fwhm, uncertainty > 0 ? uncertainty : double.NaN, "arcsec"), fwhm * fwhm / (whole * whole), meaning);
}
