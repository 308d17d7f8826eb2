using System.Text.Json.Serialization;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.EdgeContrast;

/// <summary>What the edge is of.</summary>
public enum EdgeSubject
{
    /// <summary>An evenly bright surface that ends sharply, straight or round.</summary>
    Surface,

    /// <summary>The Moon's sunlit limb.</summary>
    Moon,
}

/// <summary>A frame with a bright surface that ends at a dark one, and what made it.</summary>
public sealed record EdgeContrastRequest
{
    /// <summary>The frame; set by the caller beside the JSON request.</summary>
    [JsonIgnore]
    [HandedOver("frame")]
    public Frame? Frame { get; init; }

    /// <summary>What the edge is of: an even surface, or the Moon's sunlit limb.</summary>
    public EdgeSubject Subject { get; init; }

    /// <summary>Angle Sun - Moon - observer, deg: 0 at full Moon, 90 at the quarters; NaN: not known.</summary>
    [Field(Low = 0, High = 170)]
    public double PhaseAngleDeg { get; init; } = double.NaN;

    /// <summary>Level without light (bias and dark), ADU; NaN: not known, then glare is not measured.</summary>
    [Field(Low = -1000, High = 1e6)]
    public double BiasLevelAdu { get; init; } = double.NaN;

    /// <summary>Focal length at the sensor, mm.</summary>
    [Field(Low = 10, High = 1_000_000)]
    public required double FocalLengthMm { get; init; }

    /// <summary>Aperture, mm; NaN: no perfect aperture is put beside the result.</summary>
    [Field(Low = 1, High = 50_000)]
    public double ApertureMm { get; init; } = double.NaN;

    /// <summary>Diameter of the central obstruction over the aperture.</summary>
    [Field(Low = 0, High = 0.9)]
    public double Obstruction { get; init; }

    /// <summary>Middle of the passband, nm.</summary>
    [Field(Low = 200, High = 2000)]
    public double WavelengthNm { get; init; } = 550;

    /// <summary>FWHM of the air alone during the exposure, arcsec, measured otherwise; NaN: the air stays in the result.</summary>
    [Field(Low = 0.05, High = 30)]
    public double SeeingArcsec { get; init; } = double.NaN;

    /// <summary>Its standard uncertainty, arcsec; NaN: a tenth of it.</summary>
    [Field(Low = 0, High = 30)]
    public double SeeingUncertaintyArcsec { get; init; } = double.NaN;

    /// <summary>Distance from the edge at which the light in the dark is told, arcmin.</summary>
    [Field(Low = 0.01, High = 600)]
    public double GlareDistanceArcmin { get; init; } = 1;

    /// <summary>Pixel pitch, binning included, um.</summary>
    [Field(Low = 0.3, High = 200)]
    public required double PitchUm { get; init; }
}
