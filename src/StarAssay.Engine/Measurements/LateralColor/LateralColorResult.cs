using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.LateralColor;

/// <summary>By how much the image in one color is larger than, and displaced against, that in another.</summary>
/// <remarks>Pixels are counted from 0, x right, y up. Radial means from the middle of the sensor. Places are star centers.</remarks>
public sealed record LateralColorResult : IMeasurementResult
{
    /// <summary>Lateral color: of all pairs of colors the largest difference of image height at the corners of the sensor.</summary>
    public required Measured LateralColor { get; init; }

    /// <summary>The same on the sky; NaN without a focal length.</summary>
    public required Measured LateralColorAngle { get; init; }

    /// <summary>The same over the diameter of the Airy disc, 2.44 wavelength N; NaN without a focal ratio and wavelengths.</summary>
    public required double AiryShare { get; init; }

    /// <summary>The pair that it belongs to.</summary>
    public required string WorstPair { get; init; }

    /// <summary>Each pair of colors; those with the reference first.</summary>
    public required IReadOnlyList<ColorPair> Pairs { get; init; }

    /// <summary>Each color by itself.</summary>
    public required IReadOnlyList<ColorStars> Colors { get; init; }

    /// <summary>Distances from the middle of the sensor.</summary>
    [Field(Unit = "mm")]
    public required double[] Radius { get; init; }

    /// <summary>Radial difference of image height there, [pair, distance].</summary>
    [Field(Unit = "um")]
    public required double[,] Curve { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    [Field(Unit = "um")]
    public required double[,] CurveUncertainty { get; init; }

    /// <summary>Number of the pair that each star below was compared in.</summary>
    public required int[] Pair { get; init; }

    /// <summary>Column of each star.</summary>
    [Field(Unit = "pix")]
    public required double[] X { get; init; }

    /// <summary>Row of each star.</summary>
    [Field(Unit = "pix")]
    public required double[] Y { get; init; }

    /// <summary>Offset of each star between both colors along x, constant and rotation taken off.</summary>
    [Field(Unit = "pix")]
    public required double[] OffsetX { get; init; }

    /// <summary>The same along y.</summary>
    [Field(Unit = "pix")]
    public required double[] OffsetY { get; init; }

    /// <summary>Standard uncertainty of each, with the scatter that the stars show.</summary>
    [Field(Unit = "pix")]
    public required double[] OffsetUncertainty { get; init; }

    /// <summary>1 for stars behind the fit, 0 for those that stand too far off.</summary>
    public required int[] Used { get; init; }

    /// <summary>Columns of the frames.</summary>
    public required int Width { get; init; }

    /// <summary>Rows of the frames.</summary>
    public required int Height { get; init; }

    /// <summary>Pixel pitch.</summary>
    public required double PitchUm { get; init; }

    /// <summary>Numbers that a claim can be about.</summary>
    public required IReadOnlyList<Quantity> Quantities { get; init; }

    /// <summary>What the reader must know.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}

/// <summary>Two colors compared.</summary>
/// <param name="Color">The color that is compared.</param>
/// <param name="Against">The color that it is compared with.</param>
/// <param name="Stars">Stars behind the comparison.</param>
/// <param name="Corner">Image height at the corners of the sensor, less that in the other color; positive = its image is larger.</param>
/// <param name="CornerInPixels">The same in pixels.</param>
/// <param name="ScaleDifference">Relative difference of scale in the middle of the field, 1e-6.</param>
/// <param name="ThirdOrder">Part of the corner's difference that grows with the third power of the height; NaN with few stars.</param>
/// <param name="DecenterX">Decentered part (Brown 1966): P of P (r^2 + 2 x^2) with r = 1 at the corners, x; from frames that moved it is what the
/// move makes of distortion.</param>
/// <param name="DecenterY">The same along y.</param>
/// <param name="ShiftX">Displacement of the whole image in the middle of the field, x.</param>
/// <param name="ShiftY">The same along y.</param>
/// <param name="ExpectedShift">Amount that dispersion of the air makes of it at the stated altitude; NaN where not known.</param>
/// <param name="TowardsZenith">Displacement towards the zenith less the expected one; NaN where direction or amount are not known.</param>
/// <param name="AcrossZenith">Displacement across that direction, to its left.</param>
/// <param name="Rotation">Turn of the image, from +x towards +y.</param>
/// <param name="Scatter">Scatter of the stars beyond their own uncertainties, pixels.</param>
public sealed record ColorPair(
    string Color,
    string Against,
    int Stars,
    Measured Corner,
    Measured CornerInPixels,
    Measured ScaleDifference,
    Measured ThirdOrder,
    Measured DecenterX,
    Measured DecenterY,
    Measured ShiftX,
    Measured ShiftY,
    Measured ExpectedShift,
    Measured TowardsZenith,
    Measured AcrossZenith,
    Measured Rotation,
    double Scatter);

/// <summary>One color by itself.</summary>
/// <param name="Color">Its name.</param>
/// <param name="WavelengthNm">Middle of its passband; NaN = not known.</param>
/// <param name="Stars">Stars that serve.</param>
/// <param name="HfrPx">Their median half-flux radius: what is larger in one color is out of focus there.</param>
public sealed record ColorStars(string Color, double WavelengthNm, int Stars, double HfrPx);
