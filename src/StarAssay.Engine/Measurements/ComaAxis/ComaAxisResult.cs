using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ComaAxis;

/// <summary>Where the coma-free axis of the telescope meets the sensor, from defocused stars at several places.</summary>
/// <remarks>Pixels are counted from 0, x right, y up; lengths from the sensor's middle; directions from +x towards +y.</remarks>
public sealed record ComaAxisResult : IMeasurementResult
{
    /// <summary>The place by the coma of these stars alone.</summary>
    public required ComaFreePoint ComaFree { get; init; }

    /// <summary>The same with the growth of a single paraboloid's coma; null where the objective is not said to be one.</summary>
    public required ComaFreePoint? ComaFreeByTheory { get; init; }

    /// <summary>Whether the place that is used, and judged, is the one by theory.</summary>
    public required bool TheoryUsed { get; init; }

    /// <summary>Coma in the middle of the sensor, Noll 8.</summary>
    public required Measured ComaMiddleX { get; init; }

    /// <summary>Noll 7 in the middle.</summary>
    public required Measured ComaMiddleY { get; init; }

    /// <summary>By how much a single paraboloid has to be turned to bring the place to the middle; NaN for other objectives.</summary>
    public required Measured MirrorTurn { get; init; }

    /// <summary>Column of each star.</summary>
    [Field(Unit = "pix")]
    public required double[] StarX { get; init; }

    /// <summary>Row of each star.</summary>
    [Field(Unit = "pix")]
    public required double[] StarY { get; init; }

    /// <summary>Noll 8 of each star.</summary>
    [Field(Unit = "nm")]
    public required double[] StarComaX { get; init; }

    /// <summary>Noll 7 of each star.</summary>
    [Field(Unit = "nm")]
    public required double[] StarComaY { get; init; }

    /// <summary>Standard uncertainty of each Noll 8, without the air that all share.</summary>
    public required double[] StarComaXUncertaintyNm { get; init; }

    /// <summary>The same of Noll 7.</summary>
    public required double[] StarComaYUncertaintyNm { get; init; }

    /// <summary>Measured less the law, Noll 8.</summary>
    [Field(Unit = "nm")]
    public required double[] ResidualX { get; init; }

    /// <summary>Measured less the law, Noll 7.</summary>
    [Field(Unit = "nm")]
    public required double[] ResidualY { get; init; }

    /// <summary>The law: Noll 8 + i Noll 7 = c0 + i c1 + c2 h, h the place from the middle in mm.</summary>
    [Field(Unit = "")]
    public required double[] Law { get; init; }

    /// <summary>Chi squared of the stars about the law.</summary>
    public required double ChiSquared { get; init; }

    /// <summary>Its degrees of freedom.</summary>
    public required int DegreesOfFreedom { get; init; }

    /// <summary>Probability of so large a chi squared if the law and the bars hold.</summary>
    public required double Probability { get; init; }

    /// <summary>Columns of the frames.</summary>
    public required int Width { get; init; }

    /// <summary>Rows of the frames.</summary>
    public required int Height { get; init; }

    /// <summary>Pixel pitch.</summary>
    public required double PitchUm { get; init; }

    /// <summary>Wavelength.</summary>
    public required double WavelengthNm { get; init; }

    /// <summary>Whether a place was told and nothing forbids using it to decide.</summary>
    public required bool Decided { get; init; }

    /// <summary>Numbers that a claim can be about.</summary>
    public required IReadOnlyList<Quantity> Quantities { get; init; }

    /// <summary>What the reader must know.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}
