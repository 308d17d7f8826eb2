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

    /// <summary>Columns of the frame before the first of the flux: the scale begins at the frame's own first column.</summary>
    public int FirstColumn { get; init; }

    /// <summary>Least and greatest dispersion, nm per column, without sign; a prism's range must be covered.</summary>
    public required double[] DispersionNmPerPx { get; init; }

    /// <summary>Shortest and longest wavelength that can lie in the frame.</summary>
    public double[] LimitsNm { get; init; } = [330, 1050];

    /// <summary>+1 when wavelengths grow with the column, -1 when they fall, 0 when not known.</summary>
    public int Direction { get; init; }

    /// <summary>Highest degree of the polynomial (a prism needs 3 or 4).</summary>
    public int MaxDegree { get; init; } = 3;

    /// <summary>Largest RMS residual allowed, columns.</summary>
    public double MaxRmsPx { get; init; } = 0.8;

    internal double MinNm => LimitsNm.Min();

    internal double MaxNm => LimitsNm.Max();

    internal double MinDispersion => DispersionNmPerPx.Min();

    internal double MaxDispersion => DispersionNmPerPx.Max();
}
