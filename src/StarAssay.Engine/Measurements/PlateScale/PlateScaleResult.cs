using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.PlateScale;

/// <summary>Focal length, distortion and field of view of a frame. Pixels are counted from 0, x right, y up.</summary>
public sealed record PlateScaleResult : IMeasurementResult
{
    /// <summary>Focal length at the middle of the frame: pitch over the tangent that a pixel sees.</summary>
    public required Measured FocalLength { get; init; }

    /// <summary>Focal length over the stated one of the telescope alone; NaN without that.</summary>
    public required Measured ReducerFactor { get; init; }

    /// <summary>Focal length over aperture; NaN without an aperture.</summary>
    public required Measured FocalRatio { get; init; }

    /// <summary>Side of a pixel on the sky at the middle of the frame, geometric mean of both directions.</summary>
    public required Measured PixelScale { get; init; }

    /// <summary>Relative distortion at the corner of the frame: (height - ideal height) / ideal height; NaN where it was not fitted.</summary>
    public required Measured DistortionEdge { get; init; }

    /// <summary>Angle between the middles of the left and the right edge.</summary>
    public required Measured FieldOfViewWidth { get; init; }

    /// <summary>Angle between the middles of the lower and the upper edge.</summary>
    public required Measured FieldOfViewHeight { get; init; }

    /// <summary>The larger of the angles between opposite corners.</summary>
    public required Measured FieldOfViewDiagonal { get; init; }

    /// <summary>Largest over smallest scale, less one.</summary>
    public required Measured Anamorphism { get; init; }

    /// <summary>Direction of north in the frame, from +x towards +y.</summary>
    public required double NorthAngleDeg { get; init; }

    /// <summary>True when east lies clockwise from north in the frame (x right, y up).</summary>
    public required bool Mirrored { get; init; }

    /// <summary>Highest power of the image height in the distortion: 5, 3, or 1 where none was fitted.</summary>
    public required int DistortionOrder { get; init; }

    /// <summary>Angles from the middle of the frame to its corner at which the distortion is given.</summary>
    public required double[] FieldAngleDeg { get; init; }

    /// <summary>Focal length times the tangent of each angle.</summary>
    public required double[] IdealHeightMm { get; init; }

    /// <summary>Relative distortion at each angle.</summary>
    [Field(Unit = "%")]
    public required double[] Distortion { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    [Field(Unit = "%")]
    public required double[] DistortionUncertainty { get; init; }

    /// <summary>Column of each star.</summary>
    [Field(Unit = "pix")]
    public required double[] X { get; init; }

    /// <summary>Row of each star.</summary>
    [Field(Unit = "pix")]
    public required double[] Y { get; init; }

    /// <summary>Measured less fitted column.</summary>
    public required double[] XResidualPx { get; init; }

    /// <summary>Measured less fitted row.</summary>
    public required double[] YResidualPx { get; init; }

    /// <summary>Angle of each star from the middle of the frame.</summary>
    public required double[] StarAngleDeg { get; init; }

    /// <summary>Radial distortion that each star shows by itself: the fitted one and its residual along the radius.</summary>
    [Field(Unit = "%")]
    public required double[] StarDistortion { get; init; }

    /// <summary>Which stars are behind the fit; the others are wrong matches.</summary>
    public required bool[] Used { get; init; }

    /// <summary>Root mean square residual of the used stars, one axis.</summary>
    public required double ResidualRmsPx { get; init; }

    /// <summary>What was added in quadrature to the stars' uncertainties, so that they explain the residuals.</summary>
    public required double AddedScatterPx { get; init; }

    /// <summary>Gnomonic coordinate of the middle of the frame, towards east.</summary>
    public required double CenterXi { get; init; }

    /// <summary>Gnomonic coordinate of the middle of the frame, towards north.</summary>
    public required double CenterEta { get; init; }

    /// <summary>Where the sky positions come from.</summary>
    public required PositionSource Source { get; init; }

    /// <summary>Numbers that a claim can be about.</summary>
    public required IReadOnlyList<Quantity> Quantities { get; init; }

    /// <summary>What the reader must know.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}
