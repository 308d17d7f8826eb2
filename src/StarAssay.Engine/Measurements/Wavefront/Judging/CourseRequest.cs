namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Low modes of several pairs of one night, each pair fitted alone.</summary>
public sealed record CourseRequest
{
    /// <summary>Middle of each pair, hours from any start, ascending.</summary>
    public required double[] TimeH { get; init; }

    /// <summary>Noll 5 to 11 of each pair, pair after pair, nm.</summary>
    public required double[] CoefficientNm { get; init; }

    /// <summary>Variance of each of them in one pair by photons and misfit, nm^2.</summary>
    public required double[] VarianceNm2 { get; init; }

    /// <summary>Variance of each of them in one pair by the air that a finite exposure leaves, nm^2.</summary>
    public required double[] AirNm2 { get; init; }

    /// <summary>Best focus of each pair; empty: not known.</summary>
    public double[] FocusUm { get; init; } = [];

    /// <summary>Standard uncertainty of it in one pair, um.</summary>
    public double FocusUncertaintyUm { get; init; }
}
