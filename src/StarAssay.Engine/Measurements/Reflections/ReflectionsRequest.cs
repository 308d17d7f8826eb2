using System.Text.Json.Serialization;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Reflections;

/// <summary>A photo of reflections seen through a sighting eyepiece, and what is known of camera and telescope.</summary>
public sealed record ReflectionsRequest
{
    /// <summary>The photo as light (linear), rows from the lowest y; set by the caller beside the JSON request.</summary>
    [JsonIgnore]
    [HandedOver("frame")]
    public Frame? Frame { get; init; }

    /// <summary>Radial distortion of the camera's lens: share by which the picture's corner lies farther out than it should; NaN: not known.</summary>
    [Field(Low = -0.3, High = 0.3)]
    public double Distortion { get; init; } = double.NaN;

    /// <summary>Its standard uncertainty; NaN: 0.01 where it is not known, a tenth of it and 0.001 where it is.</summary>
    [Field(Low = 0, High = 0.3)]
    public double DistortionUncertainty { get; init; } = double.NaN;

    /// <summary>Angle between opposite corners of the whole picture, deg; NaN: not known.</summary>
    [Field(Low = 2, High = 130)]
    public double FieldOfViewDeg { get; init; } = double.NaN;

    /// <summary>Its standard uncertainty, deg; NaN: 3 % of it.</summary>
    [Field(Low = 0, High = 60)]
    public double FieldOfViewUncertaintyDeg { get; init; } = double.NaN;

    /// <summary>Which circle is the objective's edge, counted from the largest; 0: not said.</summary>
    [Field(Low = 0, High = 12)]
    public int Objective { get; init; }

    /// <summary>Which circle is the dark spot, the reflection of the hole that one looks through, counted from the largest; 0: not said.</summary>
    [Field(Low = 0, High = 12)]
    public int Spot { get; init; }

    /// <summary>Which circle is the far end of the focuser or of the sighting eyepiece, counted from the largest; 0: not said.</summary>
    [Field(Low = 0, High = 12)]
    public int Sight { get; init; }

    /// <summary>True diameter of the objective's edge, mm; NaN: not known, then nothing is told in mm.</summary>
    [Field(Low = 1, High = 50_000)]
    public double ObjectiveDiameterMm { get; init; } = double.NaN;

    /// <summary>Way of the light from the sight hole to the objective, flat mirrors unfolded, mm; NaN: not known, then no tilt is told.</summary>
    [Field(Low = 10, High = 1_000_000)]
    public double ObjectiveDistanceMm { get; init; } = double.NaN;

    /// <summary>Radius of curvature of the surface that mirrors the hole, mm: positive when hollow (twice the focal length of a main mirror),
    /// negative when bulging; NaN: not known, then no tilt of the objective is told.</summary>
    [Field(Low = -1e9, High = 1e9)]
    public double SurfaceRadiusMm { get; init; } = double.NaN;

    /// <summary>Distance from the sight hole to that far end, mm; NaN: not known, then the focuser's direction is not told.</summary>
    [Field(Low = 1, High = 100_000)]
    public double SightDistanceMm { get; init; } = double.NaN;

    /// <summary>How far the camera's pupil may stand beside the middle of the hole, mm, standard uncertainty along each axis.</summary>
    [Field(Low = 0, High = 50)]
    public double ViewpointUncertaintyMm { get; init; } = 0.5;
}
