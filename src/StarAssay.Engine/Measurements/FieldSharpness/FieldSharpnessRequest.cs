using System.Text.Json.Serialization;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>The stars of one frame, the frame itself, and what is known of telescope, air and mount.</summary>
public sealed record FieldSharpnessRequest
{
    /// <summary>The frame, for the third moments; none: coma is told by sizes and ellipses alone.</summary>
    [JsonIgnore]
    [HandedOver("frame")]
    public Frame? Frame { get; init; }

    /// <summary>Column of each star, pixels.</summary>
    [JsonIgnore]
    [HandedOver("x")]
    public double[] X { get; init; } = [];

    /// <summary>Row of each star, pixels.</summary>
    [JsonIgnore]
    [HandedOver("y")]
    public double[] Y { get; init; } = [];

    /// <summary>Half-flux radius of each star, pixels.</summary>
    [JsonIgnore]
    [HandedOver("hfr")]
    public double[] Hfr { get; init; } = [];

    /// <summary>Its standard uncertainty, pixels.</summary>
    [JsonIgnore]
    [HandedOver("hfr_uncertainty")]
    public double[] HfrUncertainty { get; init; } = [];

    /// <summary>Full width at half maximum of each star's own profile, pixels; NaN where none was fitted.</summary>
    [JsonIgnore]
    [HandedOver("profile_fwhm")]
    public double[] Fwhm { get; init; } = [];

    /// <summary>Its standard uncertainty, pixels.</summary>
    [JsonIgnore]
    [HandedOver("profile_fwhm_uncertainty")]
    public double[] FwhmUncertainty { get; init; } = [];

    /// <summary>Part of each star's 1 - b/a along the line to the middle of the frame, noise included.</summary>
    [JsonIgnore]
    [HandedOver("radial_ellipticity")]
    public double[] RadialEllipticity { get; init; } = [];

    /// <summary>Part at 45 degrees to that line, counterclockwise.</summary>
    [JsonIgnore]
    [HandedOver("cross_ellipticity")]
    public double[] CrossEllipticity { get; init; } = [];

    /// <summary>Standard uncertainty of either part.</summary>
    [JsonIgnore]
    [HandedOver("ellipticity_uncertainty")]
    public double[] EllipticityUncertainty { get; init; } = [];

    /// <summary>Level of the sky at each star, ADU.</summary>
    [JsonIgnore]
    [HandedOver("sky")]
    public double[] Sky { get; init; } = [];

    /// <summary>Signal-to-noise ratio of each star.</summary>
    [JsonIgnore]
    [HandedOver("snr")]
    public double[] Snr { get; init; } = [];

    /// <summary>What was seen on each star, a sum of <see cref="StarMarks"/>.</summary>
    [JsonIgnore]
    [HandedOver("flags")]
    public double[] Flags { get; init; } = [];

    /// <summary>Columns of the frame.</summary>
    [Field(Low = 64, High = 1_000_000)]
    public required int Width { get; init; }

    /// <summary>Rows of the frame.</summary>
    [Field(Low = 64, High = 1_000_000)]
    public required int Height { get; init; }

    /// <summary>Pixel pitch, binning included, um.</summary>
    [Field(Low = 0.3, High = 200)]
    public required double PitchUm { get; init; }

    /// <summary>Side of a pixel on the sky, arcsec; NaN: not known, so no angles are given.</summary>
    [Field(Low = 1e-3, High = 1000)]
    public double PixelScaleArcsecPerPx { get; init; } = double.NaN;

    /// <summary>Whether the sky itself gave the scale; else it comes from pitch and focal length and is taken as known to 1 %.</summary>
    public bool ScaleFromSky { get; init; }

    /// <summary>FWHM that the blur must not exceed, for the sharp circle, um; NaN: 1.2 times that in the middle.</summary>
    [Field(Low = 0.1, High = 10_000)]
    public double BlurLimitUm { get; init; } = double.NaN;

    /// <summary>Diameter of the objective, mm; NaN: no budget of the blur.</summary>
    [Field(Low = 1, High = 100_000)]
    public double ApertureMm { get; init; } = double.NaN;

    /// <summary>Diameter of the central obstruction over the aperture.</summary>
    [Field(Low = 0, High = 0.9)]
    public double Obstruction { get; init; }

    /// <summary>Middle of the passband, nm.</summary>
    [Field(Low = 100, High = 30000)]
    public double WavelengthNm { get; init; } = 550;

    /// <summary>FWHM of the seeing alone at that wavelength and the stars' altitude, arcsec; NaN: not known.</summary>
    [Field(Low = 0.05, High = 50)]
    public double SeeingArcsec { get; init; } = double.NaN;

    /// <summary>Standard uncertainty of the seeing, arcsec.</summary>
    [Field(Low = 0, High = 50)]
    public double SeeingUncertaintyArcsec { get; init; }

    /// <summary>How far the middle of the sensor stood from best focus, um; NaN: not known.</summary>
    [Field(Low = -1e5, High = 1e5)]
    public double DefocusUm { get; init; } = double.NaN;

    /// <summary>RMS of the mount's errors in each axis during the exposure, arcsec; NaN: not known.</summary>
    [Field(Low = 0, High = 50)]
    public double TrackingArcsec { get; init; } = double.NaN;

    /// <summary>The request for measured stars.</summary>
    /// <param name="field">The stars.</param>
    /// <param name="pitchUm">Pixel pitch.</param>
    /// <param name="frame">Their frame.</param>
    public static FieldSharpnessRequest Of(StarField field, double pitchUm, Frame? frame = null) => new()
    {
        Frame = frame,
        X = field.X,
        Y = field.Y,
        Hfr = field.Hfr,
        HfrUncertainty = field.HfrUncertainty,
        Fwhm = field.ProfileFwhm,
        FwhmUncertainty = field.ProfileFwhmUncertainty,
        RadialEllipticity = field.RadialEllipticity,
        CrossEllipticity = field.CrossEllipticity,
        EllipticityUncertainty = field.EllipticityUncertainty,
        Sky = field.Sky,
        Snr = field.Snr,
        Flags = [.. field.Flags.Select(f => (double)f)],
        Width = field.Width,
        Height = field.Height,
        PitchUm = pitchUm,
        PixelScaleArcsecPerPx = field.PixelScaleArcsecPerPx,
        ScaleFromSky = field.ScaleFromSky,
    };
}
