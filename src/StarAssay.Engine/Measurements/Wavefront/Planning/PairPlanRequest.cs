using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Pairs that are still to be taken: the telescope as it is assumed to be, the star, the exposure and the air.</summary>
public sealed record PairPlanRequest
{
    /// <summary>Diameter of the entrance pupil, mm.</summary>
    public required double ApertureMm { get; init; }

    /// <summary>Focal length at the sensor, mm.</summary>
    public required double FocalLengthMm { get; init; }

    /// <summary>Pupil.</summary>
    public PupilShape Pupil { get; init; } = PupilShape.Clear;

    /// <summary>Wavelength of the narrow filter, nm.</summary>
    public required double WavelengthNm { get; init; }

    /// <summary>Noll numbers of the wavefront that is assumed, 5 to 22.</summary>
    public IReadOnlyList<int> Noll { get; init; } = [];

    /// <summary>Their coefficients, nm RMS.</summary>
    public IReadOnlyList<double> CoefficientsNm { get; init; } = [];

    /// <summary>Pixel pitch, um.</summary>
    public required double PitchUm { get; init; }

    /// <summary>Electrons for one ADU.</summary>
    public double GainElectronsPerAdu { get; init; } = 1;

    /// <summary>Read noise, RMS electrons.</summary>
    public double ReadNoiseElectrons { get; init; } = 3;

    /// <summary>Defocus to either side, um.</summary>
    public required double DefocusUm { get; init; }

    /// <summary>Electrons of the star in one image.</summary>
    public required double LightElectrons { get; init; }

    /// <summary>Exposure of one image, s.</summary>
    public required double ExposureS { get; init; }

    /// <summary>Seeing at the star's altitude and at the wavelength, FWHM in arcsec.</summary>
    public required double SeeingArcsec { get; init; }

    /// <summary>Standard uncertainties of what will be held fixed, and the speed of the air.</summary>
    public KnownTo KnownTo { get; init; } = new();

    /// <summary>Most pairs that are thought of.</summary>
    [Field(Low = 1, High = 30)]
    public int MostPairs { get; init; } = 6;

    /// <summary>Pairs that are drawn with the air's remainder and fitted.</summary>
    [Field(Low = 1, High = 50)]
    public int Draws { get; init; } = 6;

    /// <summary>Nights that are simulated from their covariances.</summary>
    [Field(Low = 10, High = 100_000)]
    public int Nights { get; init; } = 600;

    /// <summary>Seed of air and noise.</summary>
    public long Seed { get; init; } = 1;

    internal void RequireValid()
    {
        InputException.RequireRange(WavelengthNm, 200, 20000, "wavelength", "nm");
        InputException.RequireRange(DefocusUm, 1, 1e6, "defocus", "um");
        InputException.RequireRange(LightElectrons, 1e3, 1e12, "light", "electron");
        InputException.RequireRange(ExposureS, 1e-3, 1e5, "exposure", "s");
        InputException.RequireRange(SeeingArcsec, 0.05, 60, "seeing", "arcsec");
        InputException.RequireRange(MostPairs, 1, 30, "most_pairs", "");
        InputException.RequireRange(Draws, 1, 50, "draws", "");
        InputException.RequireRange(Nights, 10, 100_000, "nights", "");
        if (Noll.Count != CoefficientsNm.Count || Noll.Any(n => n is < 5 or > 22))
        {
            throw new InputException("wavefront.plan-modes", $"{Noll.Count} Noll numbers and {CoefficientsNm.Count} coefficients were given; give one for " +
                "each, numbers from 5 (astigmatism) to 22.", "noll");
        }
    }
}

/// <summary>One quantity over the simulated nights.</summary>
/// <param name="Name">Name from the one list.</param>
/// <param name="Unit">Its unit.</param>
/// <param name="Truth">Value that was assumed to be true.</param>
/// <param name="Values">What the nights would give: row n - 1 holds those with n pairs, one column a night; NaN where a doubt stands against it.</param>
/// <param name="Uncertainties">The standard uncertainty that they would state.</param>
public sealed record PlannedQuantity(string Name, string Unit, double Truth, double[,] Values, double[,] Uncertainties);

/// <summary>What pairs that are still to be taken would give.</summary>
/// <param name="Quantities">Each quantity that claims can be about.</param>
/// <param name="ChiSquared">Mean of the drawn pairs: what the air leaves in a finite exposure makes it exceed 1.</param>
/// <param name="Doubted">How many of the drawn pairs got a note of doubt; their share of the nights decides nothing.</param>
/// <param name="Draws">How many pairs were drawn.</param>
/// <param name="Doubts">What was doubted, each text once.</param>
public sealed record PairPlan(IReadOnlyList<PlannedQuantity> Quantities, double ChiSquared, int Doubted, int Draws, IReadOnlyList<string> Doubts);
