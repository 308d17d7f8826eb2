using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Spacing;

/// <summary>Where the corners focus when reducer or flattener and sensor are too near to each other, the middle being in focus.</summary>
public enum CornerFocus
{
    /// <summary>Not known.</summary>
    Unknown,

    /// <summary>Nearer to the objective than the middle: the sag grows with the distance.</summary>
    Inward,

    /// <summary>Farther from it: the sag falls.</summary>
    Outward,
}

/// <summary>Field curvature at one or more distances between reducer or flattener and sensor, each from a focus run.</summary>
public sealed record SpacingRequest
{
    /// <summary>Distance between reducer or flattener and sensor of each run, any zero that all share.</summary>
    [Field(Low = -10_000, High = 10_000)]
    public required IReadOnlyList<double> DistancesMm { get; init; }

    /// <summary>Best focus of the corners less that of the middle at each distance, tilt taken off, um.</summary>
    [Field(Low = -1e6, High = 1e6)]
    public required IReadOnlyList<double> SagsUm { get; init; }

    /// <summary>Standard uncertainty of each, um; from several distances its random part, since no scale that runs share moves the root.</summary>
    [Field(Low = 0, High = 1e6)]
    public required IReadOnlyList<double> SagUncertaintiesUm { get; init; }

    /// <summary>Distance that the change is counted from; NaN: that of the last run.</summary>
    [Field(Low = -10_000, High = 10_000)]
    public double PresentDistanceMm { get; init; } = double.NaN;

    /// <summary>Standard uncertainty of each distance against the others, mm.</summary>
    [Field(Low = 0, High = 10)]
    public double DistanceUncertaintyMm { get; init; } = 0.05;

    /// <summary>Change of the sag with the distance that is known of this corrector, for one distance; NaN: not known.</summary>
    [Field(Low = -10_000, High = 10_000, Unit = "um / mm")]
    public double KnownSlope { get; init; } = double.NaN;

    /// <summary>Its standard uncertainty; NaN: a fifth of it.</summary>
    [Field(Low = 0, High = 10_000, Unit = "um / mm")]
    public double KnownSlopeUncertainty { get; init; } = double.NaN;

    /// <summary>Distance from the axis that the known slope holds for, mm; NaN: the corner of this sensor.</summary>
    [Field(Low = 0.1, High = 1000)]
    public double KnownHeightMm { get; init; } = double.NaN;

    /// <summary>Where the corners focus when corrector and sensor are too near to each other, for one distance.</summary>
    public CornerFocus TooNear { get; init; }

    /// <summary>Distance of this sensor's corner from its middle, mm; NaN: not known.</summary>
    [Field(Low = 0.1, High = 1000)]
    public double CornerHeightMm { get; init; } = double.NaN;

    /// <summary>Tangential less sagittal focus at the corners, for one distance, um; NaN: not known.</summary>
    [Field(Low = -1e6, High = 1e6)]
    public double SplitUm { get; init; } = double.NaN;

    /// <summary>Its standard uncertainty, um.</summary>
    [Field(Low = 0, High = 1e6)]
    public double SplitUncertaintyUm { get; init; } = double.NaN;

    /// <summary>Degrees of freedom of sag and split, for one distance; NaN: so many that they do not count.</summary>
    [Field(Low = 1, High = 1e6)]
    public double DegreesOfFreedom { get; init; } = double.NaN;

    /// <summary>A run has a doubt of its own: no direction is said.</summary>
    public bool Doubtful { get; init; }

    /// <summary>Focal length over aperture.</summary>
    [Field(Low = 1, High = 100)]
    public required double FocalRatio { get; init; }

    /// <summary>Middle of the passband, for the depth of focus, nm.</summary>
    [Field(Low = 100, High = 30000)]
    public double WavelengthNm { get; init; } = 550;
}
