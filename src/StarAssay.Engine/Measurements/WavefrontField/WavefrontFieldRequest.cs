using System.Text.Json.Serialization;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>A defocused pair of one star field and what is known of telescope and light.</summary>
public sealed record WavefrontFieldRequest
{
    /// <summary>Two frames, inside of focus first; set by the caller beside the JSON request.</summary>
    [JsonIgnore]
    [HandedOver("frame")]
    public IReadOnlyList<Frame> Frames { get; init; } = [];

    /// <summary>Diameter of the entrance pupil, mm.</summary>
    [Field(Low = 5, High = 20000)]
    public required double ApertureMm { get; init; }

    /// <summary>Focal length at the sensor, reducer included, mm.</summary>
    [Field(Low = 10, High = 500_000)]
    public required double FocalLengthMm { get; init; }

    /// <summary>Pupil.</summary>
    public PupilShape Pupil { get; init; } = PupilShape.Clear;

    /// <summary>Middle of the passband, nm.</summary>
    [Field(Low = 200, High = 20000)]
    public required double WavelengthNm { get; init; }

    /// <summary>Pixel pitch, binning included, um.</summary>
    [Field(Low = 0.3, High = 200)]
    public required double PitchUm { get; init; }

    /// <summary>Relative standard uncertainty of pixel pitch times focal ratio, which scales every distance from focus.</summary>
    [Field(Low = 0, High = 0.2)]
    public double ScaleUncertainty { get; init; } = 0.005;

    /// <summary>Whether the objective is a single paraboloid without a corrector (Newtonian): the growth of its coma over the field is known then.</summary>
    public bool Paraboloid { get; init; }

    /// <summary>Most stars that are fitted: the brightest that are whole, alone and unclipped.</summary>
    [Field(Low = 12, High = 2000)]
    public int MostStars { get; init; } = 150;

    internal double FocalRatio => FocalLengthMm / ApertureMm;
}
