using System.Text.Json.Serialization;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Where the sensor stands when a figure of merit is computed.</summary>
public enum FocusChoice
{
    /// <summary>Where the polychromatic Strehl ratio is highest.</summary>
    BestStrehl,

    /// <summary>Where the largest share of the light lies within the depth of focus.</summary>
    BestInFocus,

    /// <summary>Where the RMS blur is smallest.</summary>
    LeastBlur,

    /// <summary>At the best focus of the reference wavelength.</summary>
    Reference,
}

/// <summary>A curve, the light it is weighed with and the band.</summary>
public sealed record MeritRequest
{
    /// <summary>Wavelengths of the curve, nm.</summary>
    public required double[] WavelengthNm { get; init; }

    /// <summary>Focus at each, um.</summary>
    public required double[] ShiftUm { get; init; }

    /// <summary>Replicates of the curve, flattened replicates x wavelengths; empty = no uncertainty.</summary>
    [JsonIgnore]
    [HandedOver("replicates")]
    public double[] ReplicatesUm { get; init; } = [];

    /// <summary>Photons x transmission x detector at each wavelength, per nm, any scale; empty = a star of <see cref="LightKelvin"/>.</summary>
    public double[] Weight { get; init; } = [];

    /// <summary>Without weights: temperature of a star whose light falls on a silicon sensor, K; NaN = flat light.</summary>
    public double LightKelvin { get; init; } = double.NaN;

    /// <summary>Focal length over aperture.</summary>
    public required double FocalRatio { get; init; }

    /// <summary>Focal length, mm; NaN leaves arcsec out.</summary>
    public double FocalLengthMm { get; init; } = double.NaN;

    /// <summary>Central obstruction.</summary>
    public double Obstruction { get; init; }

    /// <summary>Edges of the band.</summary>
    public double[] BandNm { get; init; } = [400, 700];

    /// <summary>Passband with a source ("V(lambda)", "B", "V", "R") that the light goes through besides; its own edges then stand for those
    /// given, as far as the curve reaches. Empty = straight edges alone.</summary>
    public string Passband { get; init; } = string.Empty;

    /// <summary>Wavelength of the curve's zero.</summary>
    public double ReferenceNm { get; init; } = 550;

    /// <summary>Where the sensor stands.</summary>
    public FocusChoice Focus { get; init; }

    /// <summary>Radius beyond which light counts as halo, um; NaN = three Airy radii at the reference wavelength.</summary>
    public double HaloRadiusUm { get; init; } = double.NaN;

    /// <summary>Polychromatic Strehl ratio wanted of the passband that is looked for.</summary>
    public double WantedStrehl { get; init; } = 0.8;

    internal double MinNm => BandNm.Min();

    internal double MaxNm => BandNm.Max();
}
