using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ComaAxis;

/// <summary>Coma of several stars at different places of the sensor, each from its own defocused disc.</summary>
public sealed record ComaAxisRequest
{
    /// <summary>Column of each star.</summary>
    [Field(Low = -1e5, High = 1e6, Unit = "pix")]
    public required IReadOnlyList<double> X { get; init; }

    /// <summary>Row of each star.</summary>
    [Field(Low = -1e5, High = 1e6, Unit = "pix")]
    public required IReadOnlyList<double> Y { get; init; }

    /// <summary>Noll 8 of each star.</summary>
    [Field(Low = -1e5, High = 1e5, Unit = "nm")]
    public required IReadOnlyList<double> ComaX { get; init; }

    /// <summary>Noll 7 of each star.</summary>
    [Field(Low = -1e5, High = 1e5, Unit = "nm")]
    public required IReadOnlyList<double> ComaY { get; init; }

    /// <summary>Variance of each Noll 8 by photons and misfit.</summary>
    [Field(Low = 0, High = 1e10, Unit = "nm2")]
    public required IReadOnlyList<double> VarianceX { get; init; }

    /// <summary>Variance of each Noll 7.</summary>
    [Field(Low = 0, High = 1e10, Unit = "nm2")]
    public required IReadOnlyList<double> VarianceY { get; init; }

    /// <summary>Covariance of both.</summary>
    [Field(Low = -1e10, High = 1e10, Unit = "nm2")]
    public required IReadOnlyList<double> Covariance { get; init; }

    /// <summary>Standard uncertainty of each component by moving air.</summary>
    [Field(Low = 0, High = 1e5)]
    public required IReadOnlyList<double> AirNm { get; init; }

    /// <summary>Whether all stars were exposed together, so that what air leaves is the same in all.</summary>
    public bool Together { get; init; }

    /// <summary>Columns of the frames.</summary>
    [Field(Low = 16, High = 1_000_000)]
    public required int Width { get; init; }

    /// <summary>Rows of the frames.</summary>
    [Field(Low = 16, High = 1_000_000)]
    public required int Height { get; init; }

    /// <summary>Pixel pitch, binning included, um.</summary>
    [Field(Low = 0.1, High = 1000)]
    public required double PitchUm { get; init; }

    /// <summary>Diameter of the entrance pupil, mm.</summary>
    [Field(Low = 5, High = 20_000)]
    public required double ApertureMm { get; init; }

    /// <summary>Focal length at the sensor, mm.</summary>
    [Field(Low = 10, High = 500_000)]
    public required double FocalLengthMm { get; init; }

    /// <summary>Middle of the passband, nm.</summary>
    [Field(Low = 200, High = 20_000)]
    public required double WavelengthNm { get; init; }

    /// <summary>Whether the objective is a single paraboloid without a corrector (Newtonian), the growth of whose coma is known.</summary>
    public bool Paraboloid { get; init; }

    /// <summary>Relative standard uncertainty of the focal ratio.</summary>
    [Field(Low = 0, High = 0.2)]
    public double ScaleUncertainty { get; init; } = 0.005;

    /// <summary>Stars whose own alignment is in doubt, in words.</summary>
    public IReadOnlyList<string> Doubtful { get; init; } = [];
}
