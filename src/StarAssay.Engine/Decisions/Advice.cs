using StarAssay.Engine.Results;

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

    /// <summary>Wavelength of the wavefront, nm.</summary>
    public double WavelengthNm { get; init; } = 550;

    /// <summary>Strehl ratio of the wavefront.</summary>
    public double Strehl { get; init; } = double.NaN;

    /// <summary>Noll indices of the measured modes.</summary>
    public IReadOnlyList<int> Noll { get; init; } = [];

    /// <summary>Their coefficients, nm RMS.</summary>
    public IReadOnlyList<double> CoefficientsNm { get; init; } = [];

    /// <summary>Their standard uncertainties, nm.</summary>
    public IReadOnlyList<double> UncertaintiesNm { get; init; } = [];

    /// <summary>FWHM of the stars of a focused field, arcsec.</summary>
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
}

/// <summary>One part of a star's blur.</summary>
/// <param name="Name">diffraction, optics, seeing, pixels, or the rest.</param>
/// <param name="FwhmArcsec">Its own FWHM, arcsec.</param>
/// <param name="Share">Its square over the square of the stars' FWHM.</param>
/// <param name="Meaning">What it is and what moves it, one sentence.</param>
public sealed record BlurPart(string Name, Measured FwhmArcsec, double Share, string Meaning);

/// <summary>Modes of one family taken together.</summary>
/// <param name="Name">spherical, coma, astigmatism, trefoil, higher orders.</param>
/// <param name="Rms">Root sum square of its coefficients, nm, with what noise alone would give taken off.</param>
/// <param name="Share">Its square over the square of the whole RMS without focus.</param>
/// <param name="DirectionDeg">Direction of the term from +x towards +y (coma: of the tail of positive sign; astigmatism: of
/// the axis; trefoil: of one arm); NaN where it has none.</param>
public sealed record AberrationFamily(string Name, Measured Rms, double Share, Measured DirectionDeg);

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
