using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Reflections;

/// <summary>One round outline in the photo.</summary>
/// <param name="Number">Counted from the largest, 1 first.</param>
/// <param name="X">Middle of the circle in the straightened picture.</param>
/// <param name="Y">Middle of the circle in the straightened picture.</param>
/// <param name="Radius">Radius there.</param>
/// <param name="AxisRatio">Short over long axis with distortion and perspective taken out; 1 seen from its axis.</param>
/// <param name="ObliqueDeg">By how much its plane is tilted against the line of sight, by that ratio.</param>
/// <param name="BrightInside">Whether the bright side is the inner one.</param>
/// <param name="EdgeWidthPx">Width of its edge from 10 to 90 %.</param>
/// <param name="Contrast">Step at the edge over the range of light in the photo.</param>
/// <param name="Covered">Share of the outline that was used.</param>
/// <param name="Inside">Share of the outline that lies in the photo.</param>
/// <param name="Clipped">Share of the outline whose bright side is clipped.</param>
/// <param name="RoughnessPx">RMS of the edge's departure from an ellipse.</param>
/// <param name="PictureX">Middle of the ellipse in the picture as it is.</param>
/// <param name="PictureY">Middle of the ellipse in the picture as it is.</param>
/// <param name="PictureLongPx">Long half axis there.</param>
/// <param name="PictureShortPx">Short half axis there.</param>
/// <param name="PictureAngleDeg">Direction of the long axis there.</param>
public sealed record ReflectionCircle(int Number, [property: Field(Unit = "pix")] Measured X, [property: Field(Unit = "pix")] Measured Y,
    [property: Field(Unit = "pix")] Measured Radius, double AxisRatio, double ObliqueDeg, bool BrightInside, double EdgeWidthPx, double Contrast,
    double Covered, double Inside, double Clipped, double RoughnessPx, [property: Field(Unit = "pix")] double PictureX,
    [property: Field(Unit = "pix")] double PictureY, double PictureLongPx, double PictureShortPx, double PictureAngleDeg);

/// <summary>How far a circle is out of the middle of one round it.</summary>
/// <param name="Outer">Number of the larger circle.</param>
/// <param name="Inner">Number of the smaller one.</param>
/// <param name="OffsetX">Middle of the smaller less that of the larger.</param>
/// <param name="OffsetY">Middle of the smaller less that of the larger.</param>
/// <param name="Offset">Length of that.</param>
/// <param name="Share">The length over the radius of the larger.</param>
/// <param name="OnObjective">The length in the plane of the objective's edge; NaN without its diameter.</param>
/// <param name="Direction">Direction in the picture, from +x towards +y.</param>
/// <param name="Told">Whether it stands out of its uncertainty (by chance 1 in 100 does).</param>
public sealed record ReflectionPair(int Outer, int Inner, [property: Field(Unit = "pix")] Measured OffsetX, [property: Field(Unit = "pix")] Measured OffsetY,
    [property: Field(Unit = "pix")] Measured Offset, Measured Share, [property: Field(Unit = "mm")] Measured OnObjective,
    [property: Field(Unit = "deg")] Measured Direction, bool Told);

/// <summary>Round outlines in a photo of reflections, and how well they have one middle.</summary>
/// <remarks>
/// Pixels are counted from 0, x right, y up; directions run from +x towards +y. The straightened picture has the camera's distortion
/// taken out and its middle where the photo's is.
/// </remarks>
public sealed record ReflectionsResult : IMeasurementResult
{
    /// <summary>The outlines, largest first.</summary>
    public required IReadOnlyList<ReflectionCircle> Circles { get; init; }

    /// <summary>Every circle against every larger one round it.</summary>
    public required IReadOnlyList<ReflectionPair> Pairs { get; init; }

    /// <summary>The dark spot out of the middle of the objective's edge, share of its radius; NaN unless both were named.</summary>
    public required Measured SpotOffset { get; init; }

    /// <summary>Tilt of the objective's axis against the line from its middle to the sight hole.</summary>
    [Field(Unit = "arcmin")]
    public required Measured ObjectiveTilt { get; init; }

    /// <summary>Along x of the picture: which way the normal at the objective's middle leans, seen from the hole.</summary>
    [Field(Unit = "arcmin")]
    public required Measured ObjectiveTiltX { get; init; }

    /// <summary>The same along y.</summary>
    [Field(Unit = "arcmin")]
    public required Measured ObjectiveTiltY { get; init; }

    /// <summary>Angle by which the focuser's axis misses the middle of the objective, seen from the sight hole.</summary>
    [Field(Unit = "arcmin")]
    public required Measured FocuserAim { get; init; }

    /// <summary>Along x of the picture: to which side it misses.</summary>
    [Field(Unit = "arcmin")]
    public required Measured FocuserAimX { get; init; }

    /// <summary>The same along y.</summary>
    [Field(Unit = "arcmin")]
    public required Measured FocuserAimY { get; init; }

    /// <summary>Tilt of the focuser's axis against the objective's axis: both together.</summary>
    [Field(Unit = "arcmin")]
    public required Measured AxisTilt { get; init; }

    /// <summary>Along x of the picture.</summary>
    [Field(Unit = "arcmin")]
    public required Measured AxisTiltX { get; init; }

    /// <summary>The same along y.</summary>
    [Field(Unit = "arcmin")]
    public required Measured AxisTiltY { get; init; }

    /// <summary>Circle taken as the objective's edge; 0: none.</summary>
    public required int Objective { get; init; }

    /// <summary>Circle taken as the dark spot; 0: none.</summary>
    public required int Spot { get; init; }

    /// <summary>Circle taken as the far end of the focuser; 0: none.</summary>
    public required int Sight { get; init; }

    /// <summary>Distortion that was taken out, share at the picture's corner.</summary>
    public required double Distortion { get; init; }

    /// <summary>Whether nothing forbids a decision.</summary>
    public required bool Decided { get; init; }

    /// <summary>Columns of the photo.</summary>
    public required int Columns { get; init; }

    /// <summary>Rows of the photo.</summary>
    public required int Rows { get; init; }

    /// <summary>The photo in a coarse grid, for pictures: rows from the lowest y, square root of the light over its range.</summary>
    public required double[,] Picture { get; init; }

    /// <summary>Side of one of its cells.</summary>
    public required double PictureCellPx { get; init; }

    /// <summary>Numbers that a claim can be about.</summary>
    public required IReadOnlyList<Quantity> Quantities { get; init; }

    /// <summary>What the reader must know.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}
