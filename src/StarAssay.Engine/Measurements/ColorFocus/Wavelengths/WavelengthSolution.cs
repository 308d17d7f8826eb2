using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Wavelength of every column.</summary>
public sealed record WavelengthSolution
{
    /// <summary>Wavelength at each column, nm in air.</summary>
    public required double[] WavelengthNm { get; init; }

    /// <summary>Columns of the lines used.</summary>
    public required double[] LineColumn { get; init; }

    /// <summary>Their wavelengths, nm in air; of a blend the mean, weighted by the strengths found.</summary>
    public required double[] LineWavelengthNm { get; init; }

    /// <summary>Standard uncertainty of the wavelength of each column, nm: from the lines' own and from a degree more than the evidence asks for.</summary>
    public required double[] UncertaintyNm { get; init; }

    /// <summary>Independent ways in which the scale may be off, modes x columns nm for one standard deviation.</summary>
    public required double[,] ModesNm { get; init; }

    /// <summary>Measured minus published, nm.</summary>
    public required double[] ResidualNm { get; init; }

    /// <summary>Columns of the peaks that matched no line.</summary>
    public required double[] UnmatchedColumn { get; init; }

    /// <summary>RMS residual, nm, corrected for the unknowns.</summary>
    public required double RmsNm { get; init; }

    /// <summary>The same in columns.</summary>
    [Field(Unit = "pix")]
    public required double RmsColumns { get; init; }

    /// <summary>Polynomial, lowest power first, of the column scaled to -1 ... 1 over the frame.</summary>
    public required double[] Coefficients { get; init; }

    /// <summary>log10 of the chance that as many lines match by accident.</summary>
    public required double LogFalseAlarm { get; init; }

    /// <summary>Always "air".</summary>
    public required string Medium { get; init; }

    /// <summary>What must be known.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}
