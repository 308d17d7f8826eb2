using System.Text.Json.Serialization;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>What to find and how to measure it. The defaults suit a well-focused star field.</summary>
public sealed record StarRequest
{
    /// <summary>The frame; set by the caller beside the JSON request.</summary>
    [JsonIgnore]
    [HandedOver("frame")]
    public Frame? Frame { get; init; }

    /// <summary>Significance a peak of the smoothed frame must have: its height over the noise there.</summary>
    [Field(Low = 2, High = 1000)]
    public double Threshold { get; init; } = 5;

    /// <summary>Side of the cells on which sky level and noise are measured, pixels.</summary>
    [Field(Low = 8, High = 1024)]
    public int CellSize { get; init; } = 64;

    /// <summary>Radius of the circle that counts as the whole star, pixels; NaN: three times the usual half-flux radius of
    /// the frame, at least 5.</summary>
    [Field(Low = 2, High = 200)]
    public double OuterRadiusPx { get; init; } = double.NaN;

    /// <summary>Which stars get a fit of a pixel-integrated Moffat profile, which gives their FWHM.</summary>
    public ProfileFits FitProfiles { get; init; } = ProfileFits.Bright;

    /// <summary>Column and row of the optical axis, pixels; empty: the middle of the frame.</summary>
    [Field(Unit = "pix")]
    public double[] Axis { get; init; } = [];

    /// <summary>Colors of a raw mosaic at [0, 0], [0, 1], [1, 0], [1, 1], for example "RGGB"; empty: every pixel sees the same light.</summary>
    public string Mosaic { get; init; } = "";

    /// <summary>Which pixels of the mosaic are measured.</summary>
    public MosaicColor Color { get; init; } = MosaicColor.Green;

    /// <summary>Focal length, mm, to turn pixels into angles by the frame's pixel pitch; NaN: not known. Taken as known to 1 %.</summary>
    public double FocalLengthMm { get; init; } = double.NaN;

    /// <summary>Side of a pixel on the sky as the sky itself shows it (a plate solution); it goes before the focal length. NaN: not known.</summary>
    public double PixelScaleArcsecPerPx { get; init; } = double.NaN;

    /// <summary>Central wavelength of the filter, nm; NaN: not known. It only labels the quantities, nothing is computed with it.</summary>
    public double FilterWavelengthNm { get; init; } = double.NaN;
}

/// <summary>Which stars get a profile fit.</summary>
public enum ProfileFits
{
    /// <summary>None but the few that tell the frame's usual profile.</summary>
    None,

    /// <summary>The 500 brightest unclipped stars of signal-to-noise ratio above 30.</summary>
    Bright,

    /// <summary>Every unclipped star.</summary>
    All,
}
