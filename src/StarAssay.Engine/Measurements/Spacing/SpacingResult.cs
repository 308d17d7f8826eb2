using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Spacing;

/// <summary>On which side of the best distance the present one lies.</summary>
public enum SpacingDirection
{
    /// <summary>The data do not tell it.</summary>
    NotDecided,

    /// <summary>Reducer or flattener and sensor are too near to each other.</summary>
    TooNear,

    /// <summary>They are too far apart.</summary>
    TooFar,
}

/// <summary>The distance between reducer or flattener and sensor at which the corners focus with the middle.</summary>
/// <remarks>Sag is the best focus of the corners less that of the middle, mean of tangential and sagittal.</remarks>
public sealed record SpacingResult : IMeasurementResult
{
    /// <summary>Distance at which the sag is zero; NaN where the sag does not change with the distance beyond its uncertainty.</summary>
    public required Measured BestSpacing { get; init; }

    /// <summary>What to add to the present distance; negative: to take away.</summary>
    public required Measured SpacingChange { get; init; }

    /// <summary>Whether the runs tell the best distance.</summary>
    public required bool Decided { get; init; }

    /// <summary>On which side the present distance lies; said when the risk of being wrong is at most 5 %.</summary>
    public required SpacingDirection Direction { get; init; }

    /// <summary>Distance that the change is counted from.</summary>
    public required double PresentDistanceMm { get; init; }

    /// <summary>Sag there, as the fit has it.</summary>
    public required Measured PresentSag { get; init; }

    /// <summary>Change of the sag with the distance, at the best distance, or in the middle of those tried where that is not told; from one
    /// distance what was stated, at this sensor's corner.</summary>
    public required Measured SagSlope { get; init; }

    /// <summary>Second-order part of the sag over the squared distance from the middle of those tried; NaN from two distances.</summary>
    public required Measured SagBend { get; init; }

    /// <summary>Tangential less sagittal focus at the corners, from one distance; NaN from several.</summary>
    public required Measured AstigmaticSplit { get; init; }

    /// <summary>Distance of the sensor's corner from its middle, which the slope holds for; NaN where not known.</summary>
    public required double CornerHeightMm { get; init; }

    /// <summary>Whether a straight line is what the best distance rests on; else a parabola.</summary>
    public required bool Straight { get; init; }

    /// <summary>Chi squared of the runs about it over its degrees of freedom; NaN where none is left.</summary>
    public required double ReducedChiSquared { get; init; }

    /// <summary>By how much the distance may be off, to either side, for corners within the depth of focus; NaN where not told.</summary>
    public required double ToleranceMm { get; init; }

    /// <summary>Depth of focus to either side, 2 wavelength N^2: a quarter wave of defocus.</summary>
    public required double DepthOfFocusUm { get; init; }

    /// <summary>Focal length over aperture.</summary>
    public required double FocalRatio { get; init; }

    /// <summary>Distance of each run.</summary>
    public required double[] DistancesMm { get; init; }

    /// <summary>Sag of each run.</summary>
    public required double[] SagsUm { get; init; }

    /// <summary>Its standard uncertainty, that of the distance included.</summary>
    public required double[] SagUncertaintiesUm { get; init; }

    /// <summary>Sag of each run as the fit has it.</summary>
    public required double[] SagModelUm { get; init; }

    /// <summary>Distances of the curve; empty where the slope is not known.</summary>
    public required double[] CurveDistanceMm { get; init; }

    /// <summary>Sag there, as the fit has it.</summary>
    public required double[] CurveSagUm { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    public required double[] CurveUncertaintyUm { get; init; }

    /// <summary>Diameter of the disc that a corner's star gets from it with the middle in focus, |sag| / N; focus half way between
    /// gives both half of it.</summary>
    public required double[] CornerBlurUm { get; init; }

    /// <summary>Numbers that a claim can be about.</summary>
    public required IReadOnlyList<Quantity> Quantities { get; init; }

    /// <summary>What the reader must know.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}
