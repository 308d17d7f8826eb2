using System.Text.Json.Serialization;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.LateralColor;

/// <summary>Stars of two or more colors, color after color, in pixels of the frame.</summary>
public sealed record LateralColorRequest
{
    /// <summary>Column of each star, the colors' stars one after the other, pixels.</summary>
    [JsonIgnore]
    [HandedOver("x")]
    public double[] X { get; init; } = [];

    /// <summary>Row of each star, pixels.</summary>
    [JsonIgnore]
    [HandedOver("y")]
    public double[] Y { get; init; } = [];

    /// <summary>Standard uncertainty of the columns, pixels.</summary>
    [JsonIgnore]
    [HandedOver("x_uncertainty")]
    public double[] XUncertainty { get; init; } = [];

    /// <summary>Standard uncertainty of the rows, pixels.</summary>
    [JsonIgnore]
    [HandedOver("y_uncertainty")]
    public double[] YUncertainty { get; init; } = [];

    /// <summary>Light of each star, any unit.</summary>
    [JsonIgnore]
    [HandedOver("flux")]
    public double[] Flux { get; init; } = [];

    /// <summary>Half-flux radius of each star, pixels.</summary>
    [JsonIgnore]
    [HandedOver("hfr")]
    public double[] Hfr { get; init; } = [];

    /// <summary>What was seen on each star, a sum of <see cref="StarMarks"/>.</summary>
    [JsonIgnore]
    [HandedOver("flags")]
    public double[] Flags { get; init; } = [];

    /// <summary>Position of the focuser for each color, any unit; empty or NaN = unknown.</summary>
    [JsonIgnore]
    [HandedOver("focus")]
    public double[] Focus { get; init; } = [];

    /// <summary>Stars of each color.</summary>
    public required IReadOnlyList<int> Stars { get; init; }

    /// <summary>Name of each color.</summary>
    public required IReadOnlyList<string> Colors { get; init; }

    /// <summary>Number of the color that the others are compared with.</summary>
    [Field(Low = 0, High = 1000)]
    public int Reference { get; init; }

    /// <summary>Middle of each passband; empty: known for red, green and blue only.</summary>
    [Field(Low = 100, High = 30000)]
    public IReadOnlyList<double> WavelengthsNm { get; init; } = [];

    /// <summary>All colors were taken in one exposure, by one sensor: nothing moved between them.</summary>
    public bool OneExposure { get; init; }

    /// <summary>Columns of the frames.</summary>
    [Field(Low = 64, High = 1_000_000)]
    public required int Width { get; init; }

    /// <summary>Rows of the frames.</summary>
    [Field(Low = 64, High = 1_000_000)]
    public required int Height { get; init; }

    /// <summary>Pixel pitch, binning included, um.</summary>
    [Field(Low = 0.3, High = 200)]
    public required double PitchUm { get; init; }

    /// <summary>Focal length at the sensor, mm; NaN: no angles.</summary>
    [Field(Low = 10, High = 1_000_000)]
    public double FocalLengthMm { get; init; } = double.NaN;

    /// <summary>Focal length over aperture; NaN: no share of the Airy disc.</summary>
    [Field(Low = 1, High = 100)]
    public double FocalRatio { get; init; } = double.NaN;

    /// <summary>Altitude of the field; NaN: atmospheric dispersion stays mixed with the telescope's constant part.</summary>
    [Field(Low = 10, High = 90)]
    public double AltitudeDeg { get; init; } = double.NaN;

    /// <summary>Direction of the zenith on the frame, from +x towards +y; NaN: unknown.</summary>
    [Field(Low = -360, High = 360)]
    public double ZenithDirectionDeg { get; init; } = double.NaN;
}
