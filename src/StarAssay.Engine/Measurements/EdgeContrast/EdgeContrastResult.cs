using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.EdgeContrast;

/// <summary>A patch of light in the dark that the distance from the edge does not explain.</summary>
/// <param name="X">Middle, pixels.</param>
/// <param name="Y">Middle, pixels.</param>
/// <param name="DistancePx">From the edge.</param>
/// <param name="AreaPx">Square root of its area.</param>
/// <param name="Level">Its light above what surrounds it, over that of the bright side.</param>
/// <param name="Significance">That over its noise.</param>
public sealed record EdgeGhost([property: Field(Unit = "pix")] double X, [property: Field(Unit = "pix")] double Y, double DistancePx, double AreaPx,
    double Level, double Significance);

/// <summary>How sharply a bright edge is imaged, and how dark the dark beside it is.</summary>
/// <remarks>
/// MTF by the slanted-edge method in the sense of ISO 12233; frequencies along the edge's normal. Pixels are counted from 0, x right, y up;
/// directions run from +x towards +y.
/// </remarks>
public sealed record EdgeContrastResult : IMeasurementResult
{
    /// <summary>Width of the edge from 10 to 90 % of its step, pixel included, on the sensor.</summary>
    [Field(Unit = "um")]
    public required Measured Width { get; init; }

    /// <summary>The same on the sky.</summary>
    [Field(Unit = "arcsec")]
    public required Measured WidthOnSky { get; init; }

    /// <summary>Frequency at which the MTF with the pixel taken out (and the air, where it was given) falls to a half.</summary>
    [Field(Unit = "1 / mm")]
    public required Measured Mtf50 { get; init; }

    /// <summary>The same for the MTF as recorded, pixel included.</summary>
    [Field(Unit = "1 / mm")]
    public required Measured RecordedMtf50 { get; init; }

    /// <summary>MTF as recorded at a quarter of the pixels' Nyquist frequency.</summary>
    public required Measured MtfQuarterNyquist { get; init; }

    /// <summary>The same at half of it.</summary>
    public required Measured MtfHalfNyquist { get; init; }

    /// <summary>Frequencies along the edge's normal; the Nyquist frequency is 0.5.</summary>
    [Field(Unit = "1 / pix")]
    public required double[] Frequency { get; init; }

    /// <summary>MTF as recorded: telescope, air, tracking, pixel.</summary>
    public required double[] Mtf { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    public required double[] MtfUncertainty { get; init; }

    /// <summary>That of the square pixel alone, along the normal.</summary>
    public required double[] PixelMtf { get; init; }

    /// <summary>That of the air as given; 1 without it.</summary>
    public required double[] SeeingMtf { get; init; }

    /// <summary>MTF with pixel and given air taken out; NaN where they leave less than a fifth.</summary>
    public required double[] OpticsMtf { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    public required double[] OpticsMtfUncertainty { get; init; }

    /// <summary>That of a perfect aperture of the same size and obstruction; NaN when the aperture is not given.</summary>
    public required double[] PerfectMtf { get; init; }

    /// <summary>Distance from the edge towards the dark, for edge and line spread.</summary>
    public required double[] DistancePx { get; init; }

    /// <summary>Edge spread: light over that of the bright side at the edge, the far dark being 0.</summary>
    public required double[] EdgeSpread { get; init; }

    /// <summary>Line spread: minus the edge spread's derivative by pixels.</summary>
    public required double[] LineSpread { get; init; }

    /// <summary>What of the edge spread belongs to the surface itself: its brightness from the edge inward.</summary>
    public required double[] SurfaceProfile { get; init; }

    /// <summary>Direction of the edge's normal towards the dark, in the middle of what was used.</summary>
    public required double NormalDeg { get; init; }

    /// <summary>Radius of the edge; infinite when straight.</summary>
    public required double RadiusPx { get; init; }

    /// <summary>Middle of the circle, pixels; NaN when straight.</summary>
    [Field(Unit = "pix")]
    public required double CenterX { get; init; }

    /// <summary>Middle of the circle, pixels; NaN when straight.</summary>
    [Field(Unit = "pix")]
    public required double CenterY { get; init; }

    /// <summary>Length of the edge that was used.</summary>
    public required double LengthPx { get; init; }

    /// <summary>RMS of the edge's departure from circle or line.</summary>
    public required double RoughnessPx { get; init; }

    /// <summary>RMS of what is left after following it.</summary>
    public required double LeftRoughnessPx { get; init; }

    /// <summary>Points along the edge used, x.</summary>
    [Field(Unit = "pix")]
    public required double[] EdgeX { get; init; }

    /// <summary>Points along the edge used, y.</summary>
    [Field(Unit = "pix")]
    public required double[] EdgeY { get; init; }

    /// <summary>Level of the bright side at the edge, above the far dark.</summary>
    public required double BrightAdu { get; init; }

    /// <summary>Level of the dark side, the level without light taken off where it is known.</summary>
    public required double DarkAdu { get; init; }

    /// <summary>Light in the dark at the stated distance from the edge over that of the bright side; NaN without the level without light.</summary>
    public required Measured EdgeGlare { get; init; }

    /// <summary>That distance.</summary>
    public required double GlareDistanceArcmin { get; init; }

    /// <summary>Veiling glare index in the sense of ISO 9358: light in the middle of a black patch over that round it; NaN for other edges.</summary>
    public required Measured GlareIndex { get; init; }

    /// <summary>Distances from the edge of the glare's profile.</summary>
    public required double[] GlareRadiusPx { get; init; }

    /// <summary>Light there over that of the bright side.</summary>
    public required double[] Glare { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    public required double[] GlareUncertainty { get; init; }

    /// <summary>Patches of light in the dark that the distance does not explain.</summary>
    public required IReadOnlyList<EdgeGhost> Ghosts { get; init; }

    /// <summary>Columns of the frame.</summary>
    public required int Columns { get; init; }

    /// <summary>Rows of the frame.</summary>
    public required int Rows { get; init; }

    /// <summary>The frame in a coarse grid, for pictures: rows from the lowest y, ADU.</summary>
    public required double[,] Picture { get; init; }

    /// <summary>Side of one of its cells.</summary>
    public required double PictureCellPx { get; init; }

    /// <summary>Pixel pitch.</summary>
    public required double PitchUm { get; init; }

    /// <summary>Angle that a pixel sees.</summary>
    public required double PixelScaleArcsecPerPx { get; init; }

    /// <summary>Numbers that a claim can be about.</summary>
    public required IReadOnlyList<Quantity> Quantities { get; init; }

    /// <summary>What the reader must know.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}
