using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.FocusSurface;

/// <summary>Stars of a focus run, frame after frame, all measured within one outer radius.</summary>
public sealed record FocusSurfaceRequest
{
    /// <summary>Column of each star, the frames' stars one after the other, pixels.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("x")]
    public double[] X { get; init; } = [];

    /// <summary>Row of each star, pixels.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("y")]
    public double[] Y { get; init; } = [];

    /// <summary>Light of each star, any unit.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("flux")]
    public double[] Flux { get; init; } = [];

    /// <summary>Half-flux radius of each star, pixels.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("hfr")]
    public double[] Hfr { get; init; } = [];

    /// <summary>Its standard uncertainty, pixels.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("hfr_uncertainty")]
    public double[] HfrUncertainty { get; init; } = [];

    /// <summary>Ellipticity of each star, 1 - b/a, as it was seen: noise bias left in; NaN without one.</summary>
    /// <remarks>Both components are averaged over stars. Their length with the bias taken out is too short in the mean, to nothing where the star is
    /// nearly round: the split came out too small by up to a fifth in drawn runs of five frames.</remarks>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("ellipticity")]
    public double[] Ellipticity { get; init; } = [];

    /// <summary>Its standard uncertainty.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("ellipticity_uncertainty")]
    public double[] EllipticityUncertainty { get; init; } = [];

    /// <summary>Direction of the long axis, from +x towards +y, degrees.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("position_angle")]
    public double[] PositionAngleDeg { get; init; } = [];

    /// <summary>What was seen on each star, a sum of <see cref="StarMarks"/>.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("flags")]
    public double[] Flags { get; init; } = [];

    /// <summary>Stars of each frame.</summary>
    public required IReadOnlyList<int> Stars { get; init; }

    /// <summary>Sensor position of each frame, growing away from the objective, um.</summary>
    public required IReadOnlyList<double> PositionsUm { get; init; }

    /// <summary>Names of the frames, for messages.</summary>
    public IReadOnlyList<string> Names { get; init; } = [];

    /// <summary>Columns of the frames.</summary>
    [Field(Low = 64, High = 1_000_000)]
    public required int Width { get; init; }

    /// <summary>Rows of the frames.</summary>
    [Field(Low = 64, High = 1_000_000)]
    public required int Height { get; init; }

    /// <summary>Pixel pitch, binning included, um.</summary>
    [Field(Low = 0.3, High = 200)]
    public required double PitchUm { get; init; }

    /// <summary>Focal length over aperture.</summary>
    [Field(Low = 1, High = 100)]
    public required double FocalRatio { get; init; }

    /// <summary>Diameter of the central obstruction over the aperture.</summary>
    [Field(Low = 0, High = 0.9)]
    public double Obstruction { get; init; }

    /// <summary>Middle of the passband, for the depth of focus, nm.</summary>
    [Field(Low = 100, High = 30000)]
    public double WavelengthNm { get; init; } = 550;

    /// <summary>The request for measured fields.</summary>
    /// <param name="fields">Stars of each frame, all measured within one outer radius.</param>
    /// <param name="positionUm">Sensor position of each frame.</param>
    /// <param name="pitchUm">Pixel pitch.</param>
    /// <param name="focalRatio">Focal length over aperture.</param>
    public static FocusSurfaceRequest Of(IReadOnlyList<StarField> fields, IReadOnlyList<double> positionUm, double pitchUm, double focalRatio) => new()
    {
        X = [.. fields.SelectMany(f => f.X)],
        Y = [.. fields.SelectMany(f => f.Y)],
        Flux = [.. fields.SelectMany(f => f.Flux)],
        Hfr = [.. fields.SelectMany(f => f.Hfr)],
        HfrUncertainty = [.. fields.SelectMany(f => f.HfrUncertainty)],
        Ellipticity = [.. fields.SelectMany(f => f.RadialEllipticity.Zip(f.CrossEllipticity, (a, b) => Math.Sqrt((a * a) + (b * b))))],
        EllipticityUncertainty = [.. fields.SelectMany(f => f.EllipticityUncertainty)],
        PositionAngleDeg = [.. fields.SelectMany(f => f.PositionAngleDeg)],
        Flags = [.. fields.SelectMany(f => f.Flags.Select(v => (double)v))],
        Stars = [.. fields.Select(f => f.X.Length)],
        PositionsUm = positionUm,
        Width = fields[0].Width,
        Height = fields[0].Height,
        PitchUm = pitchUm,
        FocalRatio = focalRatio,
    };
}
