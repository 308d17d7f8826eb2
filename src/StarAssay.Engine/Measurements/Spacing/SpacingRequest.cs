using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Spacing;

/// <summary>Field curvature at two or more distances between reducer or flattener and sensor, each from a focus run.</summary>
public sealed record SpacingRequest
{
    /// <summary>Distance between reducer or flattener and sensor of each run, any zero that all share.</summary>
    [Field(Low = -10_000, High = 10_000)]
    public required IReadOnlyList<double> DistancesMm { get; init; }

    /// <summary>Best focus of the corners less that of the middle at each distance, tilt taken off, um.</summary>
    [Field(Low = -1e6, High = 1e6)]
    public required IReadOnlyList<double> SagsUm { get; init; }

    /// <summary>Random part of the standard uncertainty of each, um.</summary>
    [Field(Low = 0, High = 1e6)]
    public required IReadOnlyList<double> SagUncertaintiesUm { get; init; }

    /// <summary>Distance that the change is counted from; NaN: that of the last run.</summary>
    [Field(Low = -10_000, High = 10_000)]
    public double PresentDistanceMm { get; init; } = double.NaN;

    /// <summary>Standard uncertainty of each distance against the others, mm.</summary>
    [Field(Low = 0, High = 10)]
    public double DistanceUncertaintyMm { get; init; } = 0.05;

    /// <summary>Focal length over aperture.</summary>
    [Field(Low = 1, High = 100)]
    public required double FocalRatio { get; init; }

    /// <summary>Middle of the passband, for the depth of focus, nm.</summary>
    [Field(Low = 100, High = 30000)]
    public double WavelengthNm { get; init; } = 550;
}
