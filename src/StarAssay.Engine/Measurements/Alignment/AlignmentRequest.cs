using System.Text.Json.Serialization;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Alignment;

/// <summary>On which side of best focus the sensor stood.</summary>
public enum FocusSide
{
    /// <summary>Not known, which changes nothing that is said of the image.</summary>
    Unknown,

    /// <summary>Nearer to the objective than best focus.</summary>
    Inside,

    /// <summary>Farther from the objective.</summary>
    Outside,
}

/// <summary>A star out of focus, in one image or in one from each side of focus, and what is known of the telescope.</summary>
public sealed record AlignmentRequest
{
    /// <summary>One image, or one from each side of focus, inside first.</summary>
    [JsonIgnore]
    [HandedOver("frame")]
    public IReadOnlyList<Frame> Frames { get; init; } = [];

    /// <summary>Diameter of the entrance pupil, mm.</summary>
    [Field(Low = 5, High = 20_000)]
    public required double ApertureMm { get; init; }

    /// <summary>Focal length at the sensor, reducer included, mm.</summary>
    [Field(Low = 10, High = 500_000)]
    public required double FocalLengthMm { get; init; }

    /// <summary>What lets light through; where the obstruction stands is found.</summary>
    public PupilShape Pupil { get; init; } = PupilShape.Clear;

    /// <summary>Middle of the passband, nm.</summary>
    [Field(Low = 200, High = 20_000)]
    public required double WavelengthNm { get; init; }

    /// <summary>Full width of the passband, nm.</summary>
    [Field(Low = 0, High = 2000)]
    public double BandNm { get; init; }

    /// <summary>Pixel pitch, binning included, um; NaN = the frames' own.</summary>
    [Field(Low = 0.1, High = 1000)]
    public double PitchUm { get; init; } = double.NaN;

    /// <summary>Side of focus of a single image.</summary>
    public FocusSide Side { get; init; }

    /// <summary>Direction in the first image, from +x towards +y, in which the shadow of a hand before the top of the aperture falls, deg.</summary>
    [Field(Low = -360, High = 360)]
    public double TopDeg { get; init; } = double.NaN;

    /// <summary>The same for a hand before the right-hand edge, as seen by somebody who looks along the tube to the sky, deg.</summary>
    [Field(Low = -360, High = 360)]
    public double RightDeg { get; init; } = double.NaN;

    /// <summary>Whether the objective is a single paraboloid (Newtonian), whose coma tells how far the star stands from its axis.</summary>
    public bool Paraboloid { get; init; }

    /// <summary>Relative standard uncertainty of focal ratio times pitch.</summary>
    [Field(Low = 0, High = 0.2)]
    public double ScaleUncertainty { get; init; } = 0.005;

    /// <summary>Speed of the air that carries the seeing, m/s, for the turbulence left in a finite exposure.</summary>
    [Field(Low = 0.1, High = 100)]
    public double WindMPerS { get; init; } = 6;

    internal double FocalRatio => FocalLengthMm / ApertureMm;
}
