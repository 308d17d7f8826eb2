using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Decisions;

/// <summary>Kind of telescope, as far as adjusting it goes.</summary>
public enum TelescopeDesign
{
    /// <summary>Not stated.</summary>
    Unknown,

    /// <summary>Lenses only.</summary>
    Refractor,

    /// <summary>Paraboloid and flat.</summary>
    Newtonian,

    /// <summary>Two curved mirrors, or mirrors and lenses.</summary>
    Compound,
}

/// <summary>Who may do what is advised.</summary>
public enum Hands
{
    /// <summary>The user, with the means meant for users.</summary>
    User,

    /// <summary>The maker or a qualified optician.</summary>
    Optician,

    /// <summary>Nobody: it is how the optics are made.</summary>
    Nobody,
}

/// <summary>What is known when advice is asked for; NaN = not measured.</summary>
public sealed record AdviceRequest
{
    /// <summary>Kind of telescope.</summary>
    public TelescopeDesign Design { get; init; }

    /// <summary>Aperture, mm.</summary>
    public required double ApertureMm { get; init; }

    /// <summary>Focal length, mm.</summary>
    public required double FocalLengthMm { get; init; }

    /// <summary>Pupil.</summary>
    public PupilShape Pupil { get; init; } = PupilShape.Clear;

    /// <summary>Modes of the measured wavefront.</summary>
    public IReadOnlyList<AdviceMode> Modes { get; init; } = [];

    /// <summary>What was measured or stated, by the names of <see cref="QuantityCatalog"/>: the first of a name counts. Used are
    /// star_fwhm and seeing; others do no harm.</summary>
    public IReadOnlyList<Quantity> Quantities { get; init; } = [];

    /// <summary>Side of a pixel on the sky; NaN = not known.</summary>
    public double PixelScaleArcsecPerPx { get; init; } = double.NaN;

    /// <summary>Wavelength of the modes, nm, where they do not say it. This and what follows holds where no quantity says so.</summary>
    public double WavelengthNm { get; init; } = 550;

    /// <summary>Strehl ratio of the wavefront. Not used: the modes say what the optics do to a star's width.</summary>
    public double Strehl { get; init; } = double.NaN;

    /// <summary>Noll indices of the measured modes.</summary>
    public IReadOnlyList<int> Noll { get; init; } = [];

    /// <summary>Their coefficients, nm RMS.</summary>
    public IReadOnlyList<double> CoefficientsNm { get; init; } = [];

    /// <summary>Their standard uncertainties, nm.</summary>
    public IReadOnlyList<double> UncertaintiesNm { get; init; } = [];

    /// <summary>FWHM of the stars of a focused field, their pixels' blur taken out, arcsec.</summary>
    public double StarFwhmArcsec { get; init; } = double.NaN;

    /// <summary>Its standard uncertainty.</summary>
    public double StarFwhmUncertainty { get; init; } = double.NaN;

    /// <summary>FWHM of the seeing alone, arcsec, when measured or stated.</summary>
    public double SeeingFwhmArcsec { get; init; } = double.NaN;

    /// <summary>Its standard uncertainty.</summary>
    public double SeeingFwhmUncertainty { get; init; } = double.NaN;

    /// <summary>Side of a pixel on the sky, arcsec.</summary>
    public double PixelArcsec { get; init; } = double.NaN;

    /// <summary>Wavelength of the star field, nm.</summary>
    public double FieldWavelengthNm { get; init; } = 550;

    /// <summary>The same with everything that the quantities and modes say put into the single fields.</summary>
    internal AdviceRequest Resolved()
    {
        AdviceRequest r = this;
        if (Modes.Count > 0)
        {
            r = r with
            {
                Noll = [.. Modes.Select(m => m.Noll)],
                CoefficientsNm = [.. Modes.Select(m => m.CoefficientNm)],
                UncertaintiesNm = [.. Modes.Select(m => m.UncertaintyNm)],
            };
        }

        if (Modes.FirstOrDefault(m => double.IsFinite(m.WavelengthNm)) is AdviceMode measured)
        {
            r = r with { WavelengthNm = measured.WavelengthNm };
        }

        if (Find(StarQuantities.Fwhm) is Quantity star)
        {
            r = r with
            {
                StarFwhmArcsec = star.Value.Value,
                StarFwhmUncertainty = star.Value.Uncertainty,
                FieldWavelengthNm = double.IsFinite(star.WavelengthNm) ? star.WavelengthNm : FieldWavelengthNm,
            };
        }

        if (Find(QuantityCatalog.Find("seeing")) is Quantity seeing)
        {
            // Seeing goes as wavelength^(-1/5); one that was stated without a wavelength is taken as that of the field.
            double factor = double.IsFinite(seeing.WavelengthNm) ? Seeing.ScaleFwhm(1, seeing.WavelengthNm, r.FieldWavelengthNm) : 1;
            r = r with { SeeingFwhmArcsec = seeing.Value.Value * factor, SeeingFwhmUncertainty = seeing.Value.Uncertainty * factor };
        }

        return double.IsFinite(PixelScaleArcsecPerPx) ? r with { PixelArcsec = PixelScaleArcsecPerPx } : r;
    }

    private Quantity? Find(QuantityDefinition kind) => Quantities.FirstOrDefault(q => q.Name == kind.Name && double.IsFinite(q.Value.Value));
}

/// <summary>One mode of a measured wavefront.</summary>
/// <param name="Noll">Noll index.</param>
/// <param name="CoefficientNm">Coefficient, nm RMS.</param>
/// <param name="UncertaintyNm">Its standard uncertainty, nm.</param>
/// <param name="WavelengthNm">Wavelength at which it was measured, nm; NaN: that of the request.</param>
public sealed record AdviceMode(int Noll, double CoefficientNm, double UncertaintyNm, double WavelengthNm = double.NaN);

/// <summary>One part of a star's blur.</summary>
/// <param name="Name">diffraction, optics, seeing, pixels, or the rest.</param>
/// <param name="FwhmArcsec">Its own FWHM, arcsec; of the optics what the wavefront error adds in quadrature.</param>
/// <param name="Share">Its square over the sum of all parts' squares.</param>
/// <param name="Meaning">What it is and what moves it, one sentence.</param>
public sealed record BlurPart(string Name, Measured FwhmArcsec, double Share, string Meaning);

/// <summary>One piece of advice.</summary>
/// <param name="About">What it is about: "coma", "focus", "seeing", ...</param>
/// <param name="Hands">Who may do it.</param>
/// <param name="Amount">By how much, with unit; NaN when it cannot be said.</param>
/// <param name="DirectionDeg">In which direction, degrees from +x towards +y in the image; NaN when none.</param>
/// <param name="Text">One or two sentences: what to do, by how much, how to check it.</param>
public sealed record Advice(string About, Hands Hands, Measured Amount, Measured DirectionDeg, string Text);

/// <summary>What limits the images and what to do about it.</summary>
/// <param name="LimitedBy">diffraction, optics, seeing, pixels, the rest, or "" when it cannot be said.</param>
/// <param name="Limit">One sentence.</param>
/// <param name="Blur">Parts of the stars' blur, largest first.</param>
/// <param name="Families">Parts of the wavefront error, largest first.</param>
/// <param name="Advice">What to do, most useful first.</param>
/// <param name="Notes">Reservations.</param>
public sealed record AdviceReport(
    string LimitedBy,
    string Limit,
    IReadOnlyList<BlurPart> Blur,
    IReadOnlyList<AberrationFamily> Families,
    IReadOnlyList<Advice> Advice,
    IReadOnlyList<Note> Notes);
