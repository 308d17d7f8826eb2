using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Alignment;

/// <summary>How far the rings and the shadow of a defocused star are out of its middle, and what does it.</summary>
/// <remarks>Directions are those of the image, from +x towards +y. A decentre is the middle of the obstruction's shadow less that of
/// the outer edge; without an obstruction that of the innermost ring.</remarks>
public sealed record AlignmentResult : IMeasurementResult
{
    /// <summary>Decentre in the first image over the blur radius, all causes together.</summary>
    public required Measured Decentre { get; init; }

    /// <summary>The same as a length on the sensor.</summary>
    public required Measured DecentreLength { get; init; }

    /// <summary>The same in pixels of the frame.</summary>
    public required Measured DecentrePixels { get; init; }

    /// <summary>Its part along x.</summary>
    public required Measured DecentreX { get; init; }

    /// <summary>Its part along y.</summary>
    public required Measured DecentreY { get; init; }

    /// <summary>Its direction in the first image.</summary>
    public required Measured Direction { get; init; }

    /// <summary>Part of the decentre that coma makes, the same on both sides of focus, over the blur radius of the first image.</summary>
    public required Measured ComaDecentre { get; init; }

    /// <summary>The part along x.</summary>
    public required Measured ComaDecentreX { get; init; }

    /// <summary>The part along y.</summary>
    public required Measured ComaDecentreY { get; init; }

    /// <summary>Direction in which coma moves the shadow against the outer edge.</summary>
    public required Measured ComaDirection { get; init; }

    /// <summary>Coma that the decentre amounts to, RMS over the full circle (Noll 7 and 8 together).</summary>
    public required Measured Coma { get; init; }

    /// <summary>The coefficient of Noll 8 (along x), positive where the wave is ahead at +x.</summary>
    public required Measured ComaX { get; init; }

    /// <summary>The coefficient of Noll 7 (along y).</summary>
    public required Measured ComaY { get; init; }

    /// <summary>Variance of Noll 8, covariance with Noll 7, and variance of that, by photons and misfit alone.</summary>
    [Field(Unit = "nm2")]
    public required double[] ComaCovariance { get; init; }

    /// <summary>Standard uncertainty of either coefficient by moving air, which stars of one exposure share.</summary>
    public required double ComaAirNm { get; init; }

    /// <summary>Strehl ratio that this coma alone would leave, over the ring that passes light.</summary>
    public required double ComaStrehl { get; init; }

    /// <summary>Obstruction out of the middle of the aperture, over the aperture's radius, toward +x of the first image; NaN without an
    /// obstruction.</summary>
    public required Measured OffsetX { get; init; }

    /// <summary>The same toward +y.</summary>
    public required Measured OffsetY { get; init; }

    /// <summary>Obstruction that the shadow shows, ratio of diameters; NaN without one.</summary>
    public required Measured Obstruction { get; init; }

    /// <summary>Distance of the star from the axis of the paraboloid, where coma vanishes; NaN for other objectives.</summary>
    public required Measured AxisDistance { get; init; }

    /// <summary>By how much the paraboloid has to be turned to bring its axis to where the star stood; NaN for other objectives.</summary>
    public required Measured MirrorTurn { get; init; }

    /// <summary>Whether coma stands out of its uncertainty.</summary>
    public required bool ComaTold { get; init; }

    /// <summary>Whether an obstruction out of the middle stands out of its uncertainty.</summary>
    public required bool OffsetTold { get; init; }

    /// <summary>Hour on a clock's face, seen by somebody who looks along the tube to the sky, of the edge of the aperture toward which coma
    /// moves the shadow in the first image; NaN where it is not known how the camera lies.</summary>
    public required double ClockHour { get; init; }

    /// <summary>Signal-to-noise ratio of the star in the worst image.</summary>
    public required double SignalToNoise { get; init; }

    /// <summary>Wavelength of the fit.</summary>
    public required double WavelengthNm { get; init; }

    /// <summary>Focal length over aperture.</summary>
    public required double FocalRatio { get; init; }

    /// <summary>Chi squared of the pixels over their degrees of freedom.</summary>
    public required double ChiSquared { get; init; }

    /// <summary>Each image with its circles.</summary>
    public required IReadOnlyList<AlignmentImage> Images { get; init; }

    /// <summary>Edges and rings traced one by one.</summary>
    public required IReadOnlyList<AlignmentRing> Rings { get; init; }

    /// <summary>Whether the numbers may be used to decide.</summary>
    public required bool Decided { get; init; }

    /// <summary>Numbers that a claim can be about.</summary>
    public required IReadOnlyList<Quantity> Quantities { get; init; }

    /// <summary>What the reader must know.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}

/// <summary>One image: pixels, model and the circles of its disc. Places are in pixels of the frame.</summary>
/// <param name="Name">Name of the frame.</param>
/// <param name="Side">Side of focus that was taken.</param>
/// <param name="X0">Frame column of the window's first pixel.</param>
/// <param name="Y0">Frame row of the window's first pixel.</param>
/// <param name="Binning">Frame pixels along the side of one pixel here.</param>
/// <param name="Observed">Electrons; row y, column x.</param>
/// <param name="Model">Electrons.</param>
/// <param name="Residual">(observed - model) in standard deviations, 0 where masked.</param>
/// <param name="DefocusWaves">Path at the edge, waves, negative inside.</param>
/// <param name="BlurRadiusPx">Radius of the geometric disc.</param>
/// <param name="OuterX">Middle of the outer edge.</param>
/// <param name="OuterY">Middle of the outer edge.</param>
/// <param name="OuterRadiusPx">Its mean radius, aberrations included.</param>
/// <param name="OuterEllipticity">Half the difference of its half axes over their mean.</param>
/// <param name="OuterAngleDeg">Direction of its long axis.</param>
/// <param name="ShadowX">Middle of the shadow, or of the innermost ring.</param>
/// <param name="ShadowY">Middle of the shadow, or of the innermost ring.</param>
/// <param name="ShadowRadiusPx">Radius of the shadow; 0 without an obstruction.</param>
public sealed record AlignmentImage(string Name, FocusSide Side, int X0, int Y0, int Binning, float[,] Observed, float[,] Model, float[,] Residual,
    double DefocusWaves, double BlurRadiusPx, [property: Field(Unit = "pix")] double OuterX, [property: Field(Unit = "pix")] double OuterY,
    double OuterRadiusPx, double OuterEllipticity, double OuterAngleDeg, [property: Field(Unit = "pix")] double ShadowX,
    [property: Field(Unit = "pix")] double ShadowY, double ShadowRadiusPx);

/// <summary>One edge or ring of an image, traced by itself against an image without any error that is not round.</summary>
/// <param name="Image">Which image, from 0.</param>
/// <param name="Kind">"outer edge", "ring" or "shadow".</param>
/// <param name="RadiusShare">Its radius over the blur radius.</param>
/// <param name="RadiusPx">Its radius.</param>
/// <param name="ShiftX">Its middle from that of the outer edge as fitted, along x.</param>
/// <param name="ShiftY">The same along y.</param>
/// <param name="ExpectedX">What the fit has there, along x.</param>
/// <param name="ExpectedY">The same along y.</param>
/// <param name="Brightness">How much brighter its bright side is than its mean, less 1.</param>
/// <param name="BrightDeg">Direction of the bright side.</param>
public sealed record AlignmentRing(int Image, string Kind, double RadiusShare, double RadiusPx, Measured ShiftX, Measured ShiftY,
    [property: Field(Unit = "pix")] double ExpectedX,
    [property: Field(Unit = "pix")] double ExpectedY, Measured Brightness, double BrightDeg);
