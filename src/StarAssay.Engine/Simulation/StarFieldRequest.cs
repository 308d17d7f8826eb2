using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Simulation;

/// <summary>A frame full of stars that is to be drawn.</summary>
public sealed record StarFieldRequest
{
    /// <summary>The telescope.</summary>
    public required SimulatedTelescope Telescope { get; init; }

    /// <summary>The air.</summary>
    public SimulatedSky Sky { get; init; } = new();

    /// <summary>The camera.</summary>
    public DetectorResponse Detector { get; init; } = new();

    /// <summary>The filter, or three of them for a mosaic.</summary>
    public IReadOnlyList<SimulatedPassband> Passbands { get; init; } = [new()];

    /// <summary>Exposure, s.</summary>
    public double ExposureS { get; init; } = 10;

    /// <summary>Focuser: position of the sensor's middle against the axis focus of the reference wavelength, um, positive outside.</summary>
    public double FocusPositionUm { get; init; }

    /// <summary>Places where a perfect telescope would show the stars, pixels, x; empty = random stars.</summary>
    public IReadOnlyList<double> X { get; init; } = [];

    /// <summary>The same, y.</summary>
    public IReadOnlyList<double> Y { get; init; } = [];

    /// <summary>Electrons a second of each star, all light of an unvignetted pupil.</summary>
    public IReadOnlyList<double> ElectronRates { get; init; } = [];

    /// <summary>How many random stars when none are given.</summary>
    public int RandomStars { get; init; }

    /// <summary>Faintest random star, electrons a second.</summary>
    public double FaintestRate { get; init; } = 300;

    /// <summary>Brightest random star, electrons a second.</summary>
    public double BrightestRate { get; init; } = 1e6;

    /// <summary>Number of stars brighter than F goes as F^-slope.</summary>
    public double CountSlope { get; init; } = 0.9;

    /// <summary>Random stars keep this distance, pixels.</summary>
    public double SeparationPix { get; init; }

    /// <summary>Seed of the star places (keep it for a run of frames of one field).</summary>
    public long StarSeed { get; init; } = 1;

    /// <summary>Seed of the noise.</summary>
    public long Seed { get; init; } = 1;

    /// <summary>Cosmic-ray hits.</summary>
    public int CosmicRays { get; init; }

    /// <summary>Width of a star's stamp, pixels; 0 = by blur and seeing.</summary>
    public int StampPix { get; init; }

    /// <summary>Points along x where the image of a star is computed; between them it is blended. 0 = as many as the change
    /// of focus asks for, 1 for a uniform field, at most 13.</summary>
    public int NodesX { get; init; }

    /// <summary>The same along y; at most 11 when 0.</summary>
    public int NodesY { get; init; }

    /// <summary>Throws when it can never work.</summary>
    public void RequireValid()
    {
        Telescope.RequireValid();
        Sky.RequireValid();
        Detector.RequireValid();
        InputException.RequireRange(ExposureS, 0, 1e5, nameof(ExposureS), "s");
        InputException.RequireRange(RandomStars, 0, 1_000_000, nameof(RandomStars), "stars");
        InputException.RequireRange(CosmicRays, 0, 1_000_000, nameof(CosmicRays), "hits");
        InputException.RequireRange(StampPix, 0, 1024, nameof(StampPix), "pix");
        InputException.RequireRange(NodesX, 0, 64, nameof(NodesX), "points");
        InputException.RequireRange(NodesY, 0, 64, nameof(NodesY), "points");
        InputException.RequireRange(FaintestRate, 1e-6, BrightestRate, nameof(FaintestRate), "electron/s");
        InputException.RequireRange(CountSlope, 0.05, 5, nameof(CountSlope), string.Empty);
        if (X.Count != Y.Count || X.Count != ElectronRates.Count)
        {
            throw new InputException("simulation.stars", $"The star list has {X.Count} x, {Y.Count} y and {ElectronRates.Count} rates; it needs one of each " +
                "for a star.", "x");
        }

        if (Passbands.Count == 0)
        {
            throw new InputException("simulation.passband", "No passband was given; give one, or one for each color of the mosaic.", "passbands");
        }

        foreach (SimulatedPassband band in Passbands)
        {
            band.RequireValid();
        }

        foreach (char color in Detector.Mosaic.Distinct())
        {
            if (!Passbands.Any(b => b.Color == color.ToString()))
            {
                throw new InputException("simulation.mosaic", $"The mosaic {Detector.Mosaic} needs a passband of color {color}. Give one for each of its " +
                    "colors.", "passbands");
            }
        }
    }
}

/// <summary>The truth of a drawn star field, one value a star.</summary>
/// <param name="IdealX">Place by a perfect telescope, pixels.</param>
/// <param name="IdealY">Place by a perfect telescope, pixels.</param>
/// <param name="X">Place with distortion, at the mean wavelength of the first passband, pixels; the wavefront's own displacement not included.</param>
/// <param name="Y">The same, y.</param>
/// <param name="CentroidX">Centroid of the light within the stamp, pixels: X plus what coma and dispersion add.</param>
/// <param name="CentroidY">The same, y.</param>
/// <param name="Electrons">Expected electrons on the sensor, light outside the stamp included, vignetting taken off.</param>
/// <param name="DefocusUm">Sensor against local best focus of the reference wavelength, um.</param>
/// <param name="HalfFluxRadiusPix">Half-flux radius of the profile as seen through the pixel, light within the stamp. Pixels counted as flat
/// squares give a larger one (5 % at 1.6 pixels).</param>
/// <param name="Illumination">Share of light against the axis.</param>
/// <param name="StampShare">Share of a star's light that its stamp holds, least over the field.</param>
/// <param name="StampPix">Width of the stamps, pixels.</param>
/// <param name="WavelengthNm">Mean wavelength of the first passband by detected light.</param>
/// <param name="SaturationAdu">Level where pixels are clipped.</param>
/// <param name="Notes">Where the frame falls short of a real one.</param>
public sealed record StarFieldTruth(
    double[] IdealX,
    double[] IdealY,
    double[] X,
    double[] Y,
    double[] CentroidX,
    double[] CentroidY,
    double[] Electrons,
    double[] DefocusUm,
    double[] HalfFluxRadiusPix,
    double[] Illumination,
    double StampShare,
    int StampPix,
    double WavelengthNm,
    double SaturationAdu,
    IReadOnlyList<Note> Notes);
