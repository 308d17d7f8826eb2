using MathNet.Numerics.RootFinding;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>Where the blur comes from, in the middle and in the corners.</summary>
/// <remarks>
/// Every width is that of an image drawn through the pupil (<see cref="FocusedWidth"/>): diffraction, seeing, defocus, tracking multiply as
/// transfers. What a cause adds is the width of all known ones less that without it. What is left is the Gaussian blur that must be added to
/// the known ones to make the stars as wide as they are.
/// </remarks>
internal sealed class SharpnessBudget
{
    private const double FwhmPerSigma = 2.354820045;

    // Relative uncertainty of a width that is drawn and of one read off a star's profile (docs/stars.md: 0.2 %), below which nothing is left over.
    private const double Floor = 0.01;

    // A blur that is solved for is this near, a share of the stars' width.
    private const double Enough = 1e-3;

    private readonly FieldSharpnessRequest request;
    private readonly FocusedWidthRequest all;
    private readonly double umPerArcsec;

    private SharpnessBudget(FieldSharpnessRequest request)
    {
        this.request = request;
        umPerArcsec = request.PitchUm / request.PixelScaleArcsecPerPx;
        double focalRatio = umPerArcsec * Seeing.ArcsecPerRadian / 1000 / request.ApertureMm;
        all = new FocusedWidthRequest
        {
            ApertureMm = request.ApertureMm,
            WavelengthNm = request.WavelengthNm,
            Pupil = new PupilShape { Obstruction = request.Obstruction },
            SeeingFwhmArcsec = double.IsNaN(request.SeeingArcsec) ? 0 : request.SeeingArcsec,
            DefocusNm = double.IsNaN(request.DefocusUm) ? 0 : Defocus.WavefrontNm(request.DefocusUm, focalRatio),
            JitterArcsec = double.IsNaN(request.TrackingArcsec) ? 0 : request.TrackingArcsec,
        };
    }

    /// <summary>The lines; none without aperture or scale.</summary>
    /// <param name="request">What is known.</param>
    /// <param name="center">FWHM in the middle, um.</param>
    /// <param name="corner">FWHM in the corners, um.</param>
    /// <param name="trailArcsec">Length of an even trail that the common lengthening would be; 0 where it is not told.</param>
    /// <param name="notes">To add to.</param>
    public static IReadOnlyList<SharpnessPart> Of(FieldSharpnessRequest request, Measured center, Measured corner, double trailArcsec, List<Note> notes)
    {
        if (!(request.ApertureMm > 0) || !(request.PixelScaleArcsecPerPx > 0))
        {
            return [];
        }

        return new SharpnessBudget(request).Lines(center, corner, trailArcsec, notes);
    }

    private List<SharpnessPart> Lines(Measured center, Measured corner, double trailArcsec, List<Note> notes)
    {
        bool air = request.SeeingArcsec > 0, focus = !double.IsNaN(request.DefocusUm), mount = !double.IsNaN(request.TrackingArcsec);
        FocusedWidthRequest known = all with { TrailArcsec = trailArcsec };
        double together = FocusedWidth.Arcsec(known), perfect = FocusedWidth.Arcsec(Bare());
        double Adds(FocusedWidthRequest without) => together - FocusedWidth.Arcsec(without);
        FocusedWidthRequest whole = Whole(center);
        double nothing = double.NaN, pixel = request.PixelScaleArcsecPerPx;
        var lines = new List<SharpnessPart>
        {
            Line("diffraction", "everywhere", perfect, nothing, nothing, true, "The aperture alone at the middle of the passband."),
            Line("seeing", "everywhere", air ? request.SeeingArcsec : nothing, air ? request.SeeingUncertaintyArcsec : nothing,
                air ? Adds(known with { SeeingFwhmArcsec = 0 }) : nothing, air,
                air ? "The air, as stated for this frame." : "The air: not given, so it is in what is left."),
            Line("focus", "everywhere", nothing, nothing, focus ? Adds(known with { DefocusNm = 0 }) : nothing, focus,
                focus ? "The sensor's stated distance from best focus." : "Distance from best focus: not given, so it is in what is left."),
            Line("tracking", "everywhere", mount ? FwhmPerSigma * request.TrackingArcsec : nothing, nothing,
                mount || trailArcsec > 0 ? Adds(known with { JitterArcsec = 0, TrailArcsec = 0 }) : nothing, mount || trailArcsec > 0,
                Tracking(mount, trailArcsec)),
            Line("pixels", "everywhere", 2 / Math.Sqrt(Math.PI) * pixel, nothing,
                FocusedWidth.Arcsec(whole with { PixelArcsec = pixel }) - (center.Value / umPerArcsec), true,
                "The pixels, beside the stars' widths, which are those of the light before them; on the recorded image they add this in the middle."),
        };
        string left = air ? "optics, and what was not given of focus and tracking" : "air and optics together, and what was not given of focus and tracking";
        foreach ((string place, Measured width) in new[] { ("center", center), ("corners", corner) })
        {
            double fwhm = width.Value / umPerArcsec, error = width.Uncertainty / umPerArcsec;
            lines.Add(Line("measured", place, fwhm, error, nothing, true, "The stars as they are."));
            (double rest, double sigma) = Left(known, fwhm, error);
            lines.Add(Line("left", place, rest, sigma, nothing, true,
                $"What is left for {left}: the Gaussian blur that makes the known causes as wide as the stars."));
        }

        (double more, double moreSigma) = Left(whole, corner.Value / umPerArcsec, double.Hypot(corner.Uncertainty, center.Uncertainty) / umPerArcsec);
        lines.Add(Line("field", "corners", more, moreSigma, nothing, true,
            "What the corners have beyond the middle, whatever blurs that: air, focus of the middle and tracking are in neither."));
        double measured = center.Value / umPerArcsec;
        double limit = measured + (2 * double.Hypot(center.Uncertainty / umPerArcsec, air ? request.SeeingUncertaintyArcsec : 0)) + (0.02 * measured);
        if (together > limit)
        {
            notes.Add(FieldSharpnessNotes.BudgetMismatch.Say($"What is stated of aperture, seeing, focus and tracking makes stars of {together:0.00} " +
                $"arcsec; those in the middle have {measured:0.00}. The seeing was better, or a stated value is wrong."));
        }

        if (!air)
        {
            notes.Add(FieldSharpnessNotes.SeeingNotGiven.Say("The seeing is not known, so what is left for the optics contains it. Give seeing, " +
                "measured beside the telescope; what the corners have beyond the middle needs none."));
        }

        return lines;
    }

    private static string Tracking(bool mount, double trailArcsec) => trailArcsec > 0
        ? $"{(mount ? "The mount's stated errors, and a" : "A")} trail of {trailArcsec:0.00} arcsec, if the lengthening that all stars share is one."
        : mount ? "The mount's stated errors." : "The mount: not given; stars do not share a lengthening that tells a trail.";

    /// <summary>Diffraction alone.</summary>
    private FocusedWidthRequest Bare() => all with { SeeingFwhmArcsec = 0, DefocusNm = 0, JitterArcsec = 0, TrailArcsec = 0 };

    /// <summary>The aperture under the air that would make stars as wide as they are in the middle.</summary>
    private FocusedWidthRequest Whole(Measured center)
    {
        double fwhm = center.Value / umPerArcsec;
        FocusedWidthRequest bare = Bare();
        double Off(double seeing) => FocusedWidth.Arcsec(bare with { SeeingFwhmArcsec = seeing }) - fwhm;
        return Off(0) >= 0 ? bare : bare with { SeeingFwhmArcsec = Brent.FindRoot(Off, 0, 1.2 * fwhm, Enough * fwhm, 60) };
    }

    /// <summary>FWHM of the Gaussian blur that is left over, and its standard uncertainty.</summary>
    private (double Fwhm, double Sigma) Left(FocusedWidthRequest known, double fwhm, double error)
    {
        double start = FocusedWidth.Arcsec(known);
        double Solve(FocusedWidthRequest of, double width)
        {
            double Off(double jitter) => FocusedWidth.Arcsec(of with { JitterArcsec = double.Hypot(of.JitterArcsec, jitter) }) - width;
            return Off(0) >= 0 ? 0 : FwhmPerSigma * Brent.FindRoot(Off, 0, 1.5 * width / FwhmPerSigma, Enough * width, 60);
        }

        // Near nothing left the root bends: the larger of both sides counts.
        double all = double.Hypot(error, Floor * fwhm), rest = Solve(known, fwhm), up = Solve(known, fwhm + all);
        double sigma = Math.Max(up - rest, rest - Solve(known, Math.Max(fwhm - all, 0.1 * fwhm)));
        if (known.SeeingFwhmArcsec > 0 && request.SeeingUncertaintyArcsec > 0 && start > 0)
        {
            double other = Solve(known with { SeeingFwhmArcsec = Math.Max(0.01, known.SeeingFwhmArcsec - request.SeeingUncertaintyArcsec) }, fwhm);
            sigma = double.Hypot(sigma, other - rest);
        }

        return (rest, sigma);
    }

    private SharpnessPart Line(string part, string place, double arcsec, double sigma, double adds, bool known, string meaning) =>
        new(part, place, new Measured(arcsec, sigma > 0 ? sigma : double.NaN, "arcsec"),
            new Measured(arcsec * umPerArcsec, sigma > 0 ? sigma * umPerArcsec : double.NaN, "um"), adds, known, meaning);
}
