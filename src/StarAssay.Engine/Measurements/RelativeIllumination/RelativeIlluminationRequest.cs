using System.Text.Json.Serialization;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.RelativeIllumination;

/// <summary>Flat fields of one setup and what made them.</summary>
public sealed record RelativeIlluminationRequest
{
    /// <summary>Flats; set by the caller beside the JSON request.</summary>
    [JsonIgnore]
    [HandedOver("frame")]
    public IReadOnlyList<Frame> Frames { get; init; } = [];

    /// <summary>Level without light (bias and dark), ADU; NaN: not known, which is a doubt.</summary>
    [Field(Low = -1000, High = 1e6)]
    public double BiasLevelAdu { get; init; } = double.NaN;

    /// <summary>Every second flat was taken with the camera turned by half a turn against the light, so that a slope of the light cancels.</summary>
    public bool Turned { get; init; }

    /// <summary>Look for shadows of dust of every size and say how far before the sensor each grain stands; takes longer.</summary>
    public bool Dust { get; init; }

    /// <summary>Focal length over aperture at the sensor.</summary>
    [Field(Low = 1, High = 100)]
    public required double FocalRatio { get; init; }

    /// <summary>Focal length at the sensor, mm.</summary>
    [Field(Low = 10, High = 1_000_000)]
    public required double FocalLengthMm { get; init; }

    /// <summary>Diameter of the central obstruction over the aperture.</summary>
    [Field(Low = 0, High = 0.9)]
    public double Obstruction { get; init; }

    /// <summary>Pixel pitch, binning included, um.</summary>
    [Field(Low = 0.3, High = 200)]
    public required double PitchUm { get; init; }
}
