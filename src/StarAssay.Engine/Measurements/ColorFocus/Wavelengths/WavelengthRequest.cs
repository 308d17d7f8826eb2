using System.Text.Json.Serialization;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>A spectrum with lines and what is known of its scale.</summary>
public sealed record WavelengthRequest
{
    /// <summary>Flux in each column: of the lamp, or of the star.</summary>
    [JsonIgnore]
    [HandedOver("flux")]
    public double[] Flux { get; init; } = [];

    /// <summary>True when the lines are dark (a star).</summary>
    public bool Absorption { get; init; }

    /// <summary>Names of line lists: Ne, Ar, Hg, He, Kr, Xe, Cd, H, telluric.</summary>
    public string[] Lamps { get; init; } = [];

    /// <summary>Lines beside or instead of the lists, nm in air.</summary>
    public double[] LinesNm { get; init; } = [];

    /// <summary>Least dispersion, nm per column, without sign.</summary>
    public required double MinDispersion { get; init; }

    /// <summary>Greatest dispersion, nm per column, without sign; a prism's range must be covered.</summary>
    public required double MaxDispersion { get; init; }

    /// <summary>Shortest wavelength that can lie in the frame.</summary>
    public double MinNm { get; init; } = 330;

    /// <summary>Longest wavelength that can lie in the frame.</summary>
    public double MaxNm { get; init; } = 1050;

    /// <summary>+1 when wavelengths grow with the column, -1 when they fall, 0 when not known.</summary>
    public int Direction { get; init; }

    /// <summary>Highest degree of the polynomial (a prism needs 3 or 4).</summary>
    public int MaxDegree { get; init; } = 3;

    /// <summary>Largest RMS residual allowed, columns.</summary>
    public double MaxRmsColumns { get; init; } = 0.8;
}
