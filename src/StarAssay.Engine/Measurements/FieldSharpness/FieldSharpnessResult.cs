using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>Sharpness and roundness of the stars over one frame. Widths are those of the light before the pixels.</summary>
/// <remarks>Pixels are counted from 0, x right, y up; directions from +x towards +y.</remarks>
public sealed record FieldSharpnessResult : IMeasurementResult
{
    /// <summary>FWHM in the middle of the frame.</summary>
    public required Measured CenterFwhm { get; init; }

    /// <summary>FWHM in the corners of the frame, their mean.</summary>
    public required Measured CornerFwhm { get; init; }

    /// <summary>FWHM in the middle, on the sky; NaN without a scale.</summary>
    public required Measured CenterFwhmOnSky { get; init; }

    /// <summary>FWHM in the corners, on the sky.</summary>
    public required Measured CornerFwhmOnSky { get; init; }

    /// <summary>FWHM of the corners over that of the middle.</summary>
    public required Measured CornerToCenter { get; init; }

    /// <summary>1 - b/a of the stars in the corners, root mean square over the four.</summary>
    public required Measured CornerEllipticity { get; init; }

    /// <summary>Lengthening that all stars share, as 1 - b/a.</summary>
    public required Measured CommonLengthening { get; init; }

    /// <summary>Direction of that, -90 to 90 degrees.</summary>
    public required double CommonDirectionDeg { get; init; }

    /// <summary>Lengthening in the corners towards the middle, the common part taken off; negative: across (tangential).</summary>
    public required Measured RadialLengthening { get; init; }

    /// <summary>What is neither: root mean square over the frame.</summary>
    public required Measured OtherLengthening { get; init; }

    /// <summary>FWHM that the blur must not exceed within the sharp circle.</summary>
    public required double BlurLimitUm { get; init; }

    /// <summary>Diameter of the circle about the middle within which the FWHM stays under the limit.</summary>
    public required Measured SharpCircle { get; init; }

    /// <summary>Whether the blur stays under the limit in the whole frame, so that the circle is at least as large as stated.</summary>
    public required bool SharpEverywhere { get; init; }

    /// <summary>The frame and the sensor formats that fit into it.</summary>
    public required IReadOnlyList<FormatSharpness> Formats { get; init; }

    /// <summary>What the pattern over the field means, as far as it is decided.</summary>
    public required IReadOnlyList<BlurCause> Causes { get; init; }

    /// <summary>Where the blur comes from, in the middle and in the corners; empty without aperture or scale.</summary>
    public required IReadOnlyList<SharpnessPart> Budget { get; init; }

    /// <summary>Stars behind the sizes.</summary>
    public required int Stars { get; init; }

    /// <summary>Column of each of these stars.</summary>
    [Field(Unit = "pix")]
    public required double[] X { get; init; }

    /// <summary>Row of each star.</summary>
    [Field(Unit = "pix")]
    public required double[] Y { get; init; }

    /// <summary>FWHM of each star; NaN where no profile was fitted.</summary>
    public required double[] StarFwhmUm { get; init; }

    /// <summary>Half-flux radius of each star.</summary>
    public required double[] StarHfrUm { get; init; }

    /// <summary>1 - b/a of each star, noise included.</summary>
    public required double[] StarEllipticity { get; init; }

    /// <summary>Direction of its long axis.</summary>
    public required double[] StarDirectionDeg { get; init; }

    /// <summary>Smooth FWHM over the frame, rows from below; columns and rows are spread evenly from edge to edge.</summary>
    public required double[,] FwhmMapUm { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    public required double[,] FwhmMapUncertaintyUm { get; init; }

    /// <summary>Smooth half-flux radius.</summary>
    public required double[,] HfrMapUm { get; init; }

    /// <summary>Smooth lengthening along +x against +y: 1 - b/a times the cosine of twice the direction.</summary>
    public required double[,] LengtheningMapX { get; init; }

    /// <summary>The same along the diagonals: 1 - b/a times the sine of twice the direction.</summary>
    public required double[,] LengtheningMapXy { get; init; }

    /// <summary>Standard uncertainty of either, the larger of the two.</summary>
    public required double[,] LengtheningMapUncertainty { get; init; }

    /// <summary>Columns of the frame.</summary>
    public required int Width { get; init; }

    /// <summary>Rows of the frame.</summary>
    public required int Height { get; init; }

    /// <summary>Pixel pitch.</summary>
    public required double PitchUm { get; init; }

    /// <summary>Side of a pixel on the sky; NaN when not known.</summary>
    public required double PixelScaleArcsecPerPx { get; init; }

    /// <summary>Numbers that a claim can be about.</summary>
    public required IReadOnlyList<Quantity> Quantities { get; init; }

    /// <summary>What the reader must know.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}

/// <summary>Sharpness on one sensor format about the middle of the frame.</summary>
/// <param name="Format">Its name.</param>
/// <param name="WidthMm">Of the sensor.</param>
/// <param name="HeightMm">Of the sensor.</param>
/// <param name="Center">FWHM in the middle.</param>
/// <param name="MidField">FWHM half-way to the corners, mean of four places.</param>
/// <param name="Edge">FWHM in the middles of the four edges, their mean.</param>
/// <param name="Corner">FWHM in the four corners, their mean.</param>
/// <param name="WorstCorner">FWHM in the corner where it is largest.</param>
/// <param name="CornerHfr">Half-flux radius in the corners, their mean.</param>
/// <param name="CornerEllipticity">1 - b/a in the corners, root mean square.</param>
public sealed record FormatSharpness(string Format, double WidthMm, double HeightMm, Measured Center, Measured MidField, Measured Edge, Measured Corner,
    Measured WorstCorner, Measured CornerHfr, Measured CornerEllipticity);

/// <summary>One cause of blur or lengthening, weighed against the stars.</summary>
/// <param name="Cause">"tilt", "curvature", "astigmatism", "coma" or "trailing".</param>
/// <param name="Verdict">"present", "absent" (less than would be noticed) or "not decided".</param>
/// <param name="Probability">Share of the evidence of all explanations that hold it.</param>
/// <param name="BlurShare">By what share the half-flux radius in the corners would shrink without it, if it is there.</param>
/// <param name="Lengthening">Ellipticity in the corners that would go with it, if it is there.</param>
/// <param name="Meaning">What it means and what to do.</param>
public sealed record BlurCause(string Cause, string Verdict, double Probability, double BlurShare, double Lengthening, string Meaning);

/// <summary>One line of the sharpness budget.</summary>
/// <param name="Part">"diffraction", "seeing", "focus", "tracking", "pixels", "measured" or "left".</param>
/// <param name="Place">"everywhere", "center" or "corners".</param>
/// <param name="OnSky">FWHM by itself; of a cause without a width of its own NaN.</param>
/// <param name="OnSensor">The same on the sensor.</param>
/// <param name="AddsArcsec">By how much the FWHM of all known causes together shrinks without it; NaN where it does not apply.</param>
/// <param name="Known">Whether it was given or follows from what was given.</param>
/// <param name="Meaning">What it is.</param>
public sealed record SharpnessPart(string Part, string Place, Measured OnSky, Measured OnSensor, double AddsArcsec, bool Known, string Meaning);
