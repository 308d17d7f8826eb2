using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.RelativeIllumination;

/// <summary>Relative illumination over the sensor (ISO 13653 in sense: light at a place over that on the axis) and what clips it.</summary>
/// <remarks>Pixels are counted from 0, x right, y up. A slope of the light source is taken out.</remarks>
public sealed record RelativeIlluminationResult : IMeasurementResult
{
    /// <summary>Illumination of the darkest corner over that on the axis.</summary>
    public required Measured CornerIllumination { get; init; }

    /// <summary>The same of each corner: lower left, lower right, upper left, upper right.</summary>
    public required Measured[] Corners { get; init; }

    /// <summary>Diameter of the circle within which more than 90 % of the light arrives; NaN when nothing clips.</summary>
    [Field(Unit = "mm")]
    public required Measured ImageCircle90 { get; init; }

    /// <summary>The same for three quarters.</summary>
    [Field(Unit = "mm")]
    public required Measured ImageCircle75 { get; init; }

    /// <summary>The same for half of the light.</summary>
    [Field(Unit = "mm")]
    public required Measured ImageCircle50 { get; init; }

    /// <summary>Diameter of the circle that the whole cone reaches.</summary>
    public required Measured FullyLit { get; init; }

    /// <summary>Clear diameter of the stop that clips; NaN when none is seen.</summary>
    public required Measured ClearDiameter { get; init; }

    /// <summary>Its distance before the sensor.</summary>
    public required Measured StopDistance { get; init; }

    /// <summary>Middle of the lit circle from the middle of the sensor, to the right.</summary>
    public required Measured CenterX { get; init; }

    /// <summary>The same upwards.</summary>
    public required Measured CenterY { get; init; }

    /// <summary>Slope of the light from the left to the right edge, a share of the level.</summary>
    public required Measured SlopeX { get; init; }

    /// <summary>The same from the lower to the upper edge.</summary>
    public required Measured SlopeY { get; init; }

    /// <summary>Share that the oblique incidence alone leaves in the farthest corner (fourth power of the cosine).</summary>
    public required double NaturalCorner { get; init; }

    /// <summary>Root mean square of what the cells depart from the fit, a share of the light on the axis.</summary>
    public required double ResidualRms { get; init; }

    /// <summary>Light on the axis.</summary>
    [Field(Unit = "adu")]
    public required double Level { get; init; }

    /// <summary>Distances from the middle of the lit circle.</summary>
    public required double[] RadiusMm { get; init; }

    /// <summary>Illumination there as the fit has it.</summary>
    public required double[] Profile { get; init; }

    /// <summary>Median illumination of the cells round each distance; NaN without any.</summary>
    public required double[] MeasuredProfile { get; init; }

    /// <summary>Illumination of the cells, rows from the lowest y, the source's slope taken out; NaN where too few pixels serve.</summary>
    public required double[,] Cells { get; init; }

    /// <summary>Shadows of dust, that of the grain nearest to the sensor first; empty where they were not asked for.</summary>
    public required IReadOnlyList<DustRing> Dust { get; init; }

    /// <summary>Side of a cell.</summary>
    public required double CellPx { get; init; }

    /// <summary>Columns of the frame.</summary>
    public required int Width { get; init; }

    /// <summary>Rows of the frame.</summary>
    public required int Height { get; init; }

    /// <summary>Pixel pitch.</summary>
    public required double PitchUm { get; init; }

    /// <summary>Numbers that a claim can be about.</summary>
    public required IReadOnlyList<Quantity> Quantities { get; init; }

    /// <summary>What the reader must know.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}
