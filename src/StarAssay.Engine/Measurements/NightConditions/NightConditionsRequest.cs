using System.Text.Json.Serialization;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.NightConditions;

/// <summary>Star frames of one night in order of time, the stars of one frame after those of the other.</summary>
public sealed record NightConditionsRequest
{
    /// <summary>FWHM of each star's own profile, pixels; NaN: none.</summary>
    [JsonIgnore]
    [HandedOver("profile_fwhm")]
    public double[] ProfileFwhm { get; init; } = [];

    /// <summary>Long axis of each star, any unit; its noise is not taken off, since that would draw the mean of many towards round.</summary>
    [JsonIgnore]
    [HandedOver("sigma_major")]
    public double[] SigmaMajor { get; init; } = [];

    /// <summary>Short axis in the same unit.</summary>
    [JsonIgnore]
    [HandedOver("sigma_minor")]
    public double[] SigmaMinor { get; init; } = [];

    /// <summary>Standard uncertainty of each component of the ellipticity.</summary>
    [JsonIgnore]
    [HandedOver("ellipticity_uncertainty")]
    public double[] EllipticityUncertainty { get; init; } = [];

    /// <summary>Direction of the long axis, degrees from +x towards +y.</summary>
    [JsonIgnore]
    [HandedOver("position_angle")]
    public double[] PositionAngleDeg { get; init; } = [];

    /// <summary>Signal-to-noise ratio of each star.</summary>
    [JsonIgnore]
    [HandedOver("snr")]
    public double[] Snr { get; init; } = [];

    /// <summary>What was seen on each star, a sum of <see cref="StarMarks"/>.</summary>
    [JsonIgnore]
    [HandedOver("flags")]
    public double[] Flags { get; init; } = [];

    /// <summary>Middle of each frame's exposure, hours from any start, ascending.</summary>
    [JsonIgnore]
    [HandedOver("time")]
    public double[] TimeH { get; init; } = [];

    /// <summary>Airmass of each frame; NaN: not known.</summary>
    [JsonIgnore]
    [HandedOver("airmass")]
    public double[] Airmass { get; init; } = [];

    /// <summary>Apparent altitude of each frame's middle, degrees, where its airmass is not given; empty or NaN: not known.</summary>
    [JsonIgnore]
    [HandedOver("altitude")]
    public double[] AltitudeDeg { get; init; } = [];

    /// <summary>Focuser position of each frame, growing away from the objective, um or steps; NaN: not known.</summary>
    [JsonIgnore]
    [HandedOver("focus")]
    public double[] Focus { get; init; } = [];

    /// <summary>Temperature of tube or air for each frame, degrees Celsius; NaN: not known.</summary>
    [JsonIgnore]
    [HandedOver("temperature")]
    public double[] Temperature { get; init; } = [];

    /// <summary>Time of each focus run, hours from the same start; empty: the places to which the focuser was moved between frames stand for runs.</summary>
    [JsonIgnore]
    [HandedOver("run_time")]
    public double[] RunTimeH { get; init; } = [];

    /// <summary>Best focus of each run.</summary>
    [JsonIgnore]
    [HandedOver("run_focus")]
    public double[] RunFocus { get; init; } = [];

    /// <summary>Standard uncertainty of it; NaN: not known.</summary>
    [JsonIgnore]
    [HandedOver("run_focus_uncertainty")]
    public double[] RunFocusUncertainty { get; init; } = [];

    /// <summary>Stars of each frame.</summary>
    public required IReadOnlyList<int> Stars { get; init; }

    /// <summary>Whether focuser positions are um; else steps. Focus runs are always in um.</summary>
    public bool FocusIsLength { get; init; }

    /// <summary>Side of a pixel on the sky.</summary>
    [Field(Low = 1e-3, High = 1000)]
    public required double PixelScaleArcsecPerPx { get; init; }

    /// <summary>Whether that comes from the sky; a nominal one is known to 1 %.</summary>
    public bool ScaleFromSky { get; init; }

    /// <summary>Middle of the passband; NaN: 550 nm.</summary>
    [Field(Low = 100, High = 30000)]
    public double WavelengthNm { get; init; } = double.NaN;

    /// <summary>Diameter of the objective; NaN: not known, diffraction is not taken off.</summary>
    [Field(Low = 1, High = 100_000)]
    public double ApertureMm { get; init; } = double.NaN;

    /// <summary>Focal length at the sensor; NaN: not known.</summary>
    [Field(Low = 1, High = 1_000_000)]
    public double FocalLengthMm { get; init; } = double.NaN;

    /// <summary>Diameter of the central obstruction over the aperture.</summary>
    [Field(Low = 0, High = 0.9)]
    public double Obstruction { get; init; }
}
