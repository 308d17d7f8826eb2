using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>Splits the blur of a focused star into what is known of its causes.</summary>
/// <remarks>
/// The stars' FWHM is that of the light that fell on the pixels: the pixels' own blur stands beside it. What diffraction, wavefront
/// error and seeing make together is computed through the pupil (<see cref="FocusedWidth"/>), since widths do not add in
/// quadrature: the optics' part is the root of FWHM^2 with the wavefront less FWHM^2 without it, both under the same seeing.
/// Aberrations differ much in it at one Strehl ratio. Pixels: the width of a square as a Gaussian of the same variance, 2.3548/sqrt(12)
/// of its side.
/// </remarks>
internal static class BlurBudget
{
    private const double FwhmPerSigma = 2.35482;

    public static (IReadOnlyList<BlurPart> Parts, string LimitedBy, string Limit) Split(AdviceRequest request, List<Note> notes)
    {
        double whole = request.StarFwhmArcsec;
        double uncertainty = request.StarFwhmUncertainty;
        if (!(whole > 0))
        {
            return ([], string.Empty, "No focused star field was measured, so what limits the images is not known.");
        }

        double diffraction = Width(request, 0, false);
        bool seeingKnown = request.SeeingFwhmArcsec > 0;

        // Without a known seeing the stars' own width stands for the blur in which the optics count.
        double under = seeingKnown ? request.SeeingFwhmArcsec : Root((whole * whole) - (diffraction * diffraction));
        double without = Width(request, under, false);
        double with = request.Noll.Count > 0 ? Width(request, under, true) : without;
        double optics = Root((with * with) - (without * without));
        double explained = seeingKnown ? with : double.Hypot(diffraction, optics);
        var parts = new List<BlurPart> { Part("diffraction", diffraction, 0, "The aperture alone; only a larger one makes it smaller.") };
        if (request.Noll.Count > 0)
        {
            parts.Add(Part("optics", optics, 0, "What the wavefront error adds on the axis, at best focus; see the wavefront's table."));
        }

        if (request.PixelArcsec > 0)
        {
            parts.Add(Part("pixels", request.PixelArcsec * FwhmPerSigma / Math.Sqrt(12), 0,
                "The camera's pixels, beside the stars' FWHM, from which they are taken out; a longer focal length makes them smaller on the sky."));
        }

        if (seeingKnown)
        {
            parts.Add(Part("seeing", request.SeeingFwhmArcsec, request.SeeingFwhmUncertainty, "The air; another night, a higher star, or a cooler tube."));
        }

        double rest = (whole * whole) - (explained * explained);
        double seeingVariance = seeingKnown && request.SeeingFwhmUncertainty > 0 ? 2 * request.SeeingFwhmArcsec * request.SeeingFwhmUncertainty : 0;
        double restVariance = double.Hypot(uncertainty > 0 ? 2 * whole * uncertainty : 0, seeingVariance);
        bool tooMuch = rest < -Math.Max(2 * restVariance, 0.05 * whole * whole);
        if (tooMuch)
        {
            notes.Add(DecisionNotes.BlurMismatch.Say(
                $"The known parts explain {Arcsec(explained)} of blur, more than the stars' {Arcsec(whole)}: the seeing changed between the tests, or a " +
                    "stated value is wrong."));
        }

        double restFwhm = Root(rest);
        parts.Add(Part(seeingKnown ? "the rest" : "seeing and the rest", restFwhm, restFwhm > 0 ? restVariance / (2 * restFwhm) : Math.Sqrt(restVariance),
            seeingKnown ? "Focus, tracking, vibration, color error over the passband, seeing that changed: refocus and compare."
                : "Seeing, focus, tracking and color error together: a defocused pair or a second focus position tells them apart."));
        double squares = parts.Sum(p => p.FwhmArcsec.Value * p.FwhmArcsec.Value);
        BlurPart[] shared = [.. parts
            .Select(p => p with { Share = p.FwhmArcsec.Value * p.FwhmArcsec.Value / squares })
            .OrderByDescending(p => p.FwhmArcsec.Value)];
        BlurPart top = shared[0];
        string together = tooMuch
            ? $" Diffraction, optics and seeing together would give {Arcsec(explained)}: the seeing was measured with other frames than the stars."
            : "";
        return (shared, top.Name,
            $"The stars' FWHM is {Words.PlusMinus(whole, uncertainty, "arcsec")}. What blurs them most is {Named(top.Name)}: {Arcsec(top.FwhmArcsec.Value)} " +
                $"by itself, {Words.Percent(top.Share)} of all squared widths.{together}");
    }

    private static double Width(AdviceRequest request, double seeingArcsec, bool aberrated)
    {
        int[] used = aberrated ? [.. Enumerable.Range(0, request.Noll.Count).Where(j => request.Noll[j] > 4 && double.IsFinite(request.CoefficientsNm[j]))]
            : [];
        return FocusedWidth.Arcsec(new FocusedWidthRequest
        {
            Pupil = request.Pupil,
            ApertureMm = request.ApertureMm,
            Modes = [.. used.Select(j => ZernikeIndex.FromNoll(request.Noll[j]))],
            CoefficientsNm = [.. used.Select(j => request.CoefficientsNm[j])],
            WavelengthNm = request.FieldWavelengthNm,
            SeeingFwhmArcsec = seeingArcsec,
        });
    }

    private static double Root(double square) => Math.Sqrt(Math.Max(0, square));

    private static string Arcsec(double value) => Words.Plain(Math.Round(value, 2), "arcsec");

    private static string Named(string part) => part switch
    {
        "seeing" => "the seeing",
        "pixels" => "the pixels",
        "optics" => "the optics",
        "the rest" => "what the known causes leave over (focus, tracking, color)",
        "seeing and the rest" => "seeing, focus, tracking and color together",
        _ => part,
    };

    private static BlurPart Part(string name, double fwhm, double uncertainty, string meaning) =>
        new(name, new Measured(fwhm, uncertainty > 0 ? uncertainty : double.NaN, "arcsec"), double.NaN, meaning);
}
