using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.PlateScale;

/// <summary>Where the sky positions come from.</summary>
public enum PositionSource
{
    /// <summary>A list of stars with known positions.</summary>
    List,

    /// <summary>The frame's own celestial solution.</summary>
    Solution,
}

/// <summary>Places of stars on the frame and in the plane that touches the sky near the field's center.</summary>
public sealed record PlateScaleRequest
{
    /// <summary>Column of each star, pixels.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("x")]
    public double[] X { get; init; } = [];

    /// <summary>Row of each star, pixels.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("y")]
    public double[] Y { get; init; } = [];

    /// <summary>Standard uncertainty of each column, pixels.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("x_uncertainty")]
    public double[] XUncertainty { get; init; } = [];

    /// <summary>Standard uncertainty of each row, pixels.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("y_uncertainty")]
    public double[] YUncertainty { get; init; } = [];

    /// <summary>Gnomonic coordinate towards east: a tangent, no angle.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("xi")]
    public double[] Xi { get; init; } = [];

    /// <summary>Gnomonic coordinate towards north.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    [HandedOver("eta")]
    public double[] Eta { get; init; } = [];

    /// <summary>Columns of the frame.</summary>
    [Field(Low = 16, High = 1_000_000)]
    public required int Width { get; init; }

    /// <summary>Rows of the frame.</summary>
    [Field(Low = 16, High = 1_000_000)]
    public required int Height { get; init; }

    /// <summary>Pixel pitch, binning included, um.</summary>
    [Field(Low = 0.3, High = 200)]
    public required double PitchUm { get; init; }

    /// <summary>Standard uncertainty of the pitch, um; NaN: 0.1 % of it.</summary>
    [Field(Low = 0, High = 10)]
    public double PitchUncertaintyUm { get; init; } = double.NaN;

    /// <summary>Stated focal length of the telescope alone, without reducer or extender, mm; NaN: not known.</summary>
    [Field(Low = 1, High = 1_000_000)]
    public double NominalFocalLengthMm { get; init; } = double.NaN;

    /// <summary>Diameter of the objective, mm, taken as known to 0.5 %; NaN: not known.</summary>
    [Field(Low = 1, High = 100_000)]
    public double ApertureMm { get; init; } = double.NaN;

    /// <summary>Where the sky positions come from.</summary>
    public PositionSource Source { get; init; }
}
