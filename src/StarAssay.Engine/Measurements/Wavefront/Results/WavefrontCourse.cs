using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>How the wavefront changed from pair to pair through a night.</summary>
public sealed record WavefrontCourse
{
    /// <summary>Middle of each pair, from the first.</summary>
    [Field(Unit = "h")]
    public required double[] Time { get; init; }

    /// <summary>Astigmatism, coma, spherical aberration, trefoil.</summary>
    public required IReadOnlyList<FamilyCourse> Families { get; init; }

    /// <summary>Whether one of them changes steadily.</summary>
    public required bool Changing { get; init; }

    /// <summary>Change of best focus, where the focuser's places are known; NaN elsewhere.</summary>
    public required Measured FocusDrift { get; init; }

    /// <summary>Best focus of each pair by focuser and images; NaN where not known.</summary>
    public required double[] FocusUm { get; init; }

    /// <summary>Whether best focus moves.</summary>
    public required bool FocusMoves { get; init; }

    /// <summary>Scatter of astigmatism and coma from pair to pair about their steady change, root mean square of one component.</summary>
    public required double ScatterNm { get; init; }

    /// <summary>What photons, misfit and the air of these exposures make of it, the air moving at a third of the usual speed.</summary>
    public required double ExpectedScatterNm { get; init; }

    /// <summary>Probability of so much scatter by these alone.</summary>
    public required double ScatterProbability { get; init; }

    /// <summary>Whether there is more than these make: air in or before the tube, or what touches the optics.</summary>
    public required bool Unsteady { get; init; }

    /// <summary>Scatter of the second half of the pairs over that of the first; NaN from fewer than six pairs.</summary>
    public required double LateOverEarly { get; init; }

    /// <summary>Whether the scatter falls through the night.</summary>
    public required bool Settling { get; init; }
}

/// <summary>One family of aberrations from pair to pair.</summary>
/// <param name="Name">Of the family.</param>
/// <param name="X">Noll 6, 8, 11, 10 of each pair.</param>
/// <param name="Y">Noll 5, 7, none, 9 of each pair.</param>
/// <param name="BarNm">Standard uncertainty of one component of one pair, without what all pairs share, scatter included where it is larger.</param>
/// <param name="ChangeX">Steady change of the first component.</param>
/// <param name="ChangeY">Of the second; NaN for spherical aberration.</param>
/// <param name="Change">Size of the change; with its sign for spherical aberration.</param>
/// <param name="Probability">Of so large a change by chance.</param>
/// <param name="Told">Whether it is told from none.</param>
public sealed record FamilyCourse(string Name, [property: Field(Unit = "nm")] double[] X, [property: Field(Unit = "nm")] double[] Y, double BarNm,
    Measured ChangeX, Measured ChangeY, Measured Change, double Probability, bool Told);
