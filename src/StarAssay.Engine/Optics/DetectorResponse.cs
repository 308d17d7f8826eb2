using MathNet.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>How a camera turns electrons into numbers.</summary>
public sealed record DetectorResponse
{
    /// <summary>Pixels along x.</summary>
    public int Width { get; init; } = 1024;

    /// <summary>Pixels along y.</summary>
    public int Height { get; init; } = 768;

    /// <summary>Pixel pitch, um.</summary>
    public double PitchUm { get; init; } = 3.76;

    /// <summary>Electrons for one ADU.</summary>
    public double GainElectronsPerAdu { get; init; } = 0.8;

    /// <summary>Read noise, RMS electrons.</summary>
    public double ReadNoiseElectrons { get; init; } = 1.8;

    /// <summary>Full well, electrons: more is lost.</summary>
    public double FullWellElectrons { get; init; } = 50_000;

    /// <summary>Level of an unexposed pixel, ADU.</summary>
    public double BiasAdu { get; init; } = 500;

    /// <summary>Bits of the converter: the largest ADU is 2^bits - 1.</summary>
    public int Bits { get; init; } = 16;

    /// <summary>Dark current, electrons a second and pixel.</summary>
    public double DarkElectronsPerS { get; init; }

    /// <summary>Share of hot pixels.</summary>
    public double HotPixelShare { get; init; }

    /// <summary>RMS of the pixels' unequal sensitivity, a ratio; the pattern belongs to the detector's own seed.</summary>
    public double UnevennessRms { get; init; }

    /// <summary>Seed of what belongs to the detector and stays from frame to frame: hot pixels, unequal sensitivity.</summary>
    public long PatternSeed { get; init; } = 1;

    /// <summary>Color of the four pixels at (0,0), (1,0), (0,1), (1,1): for example "RGGB" as stored, y up; empty = no mosaic.</summary>
    public string Mosaic { get; init; } = string.Empty;

    /// <summary>Wavelengths of the quantum efficiency curve, nm, rising; empty = 1 everywhere.</summary>
    public IReadOnlyList<double> EfficiencyWavelengthsNm { get; init; } = [];

    /// <summary>Quantum efficiency at those wavelengths.</summary>
    public IReadOnlyList<double> Efficiency { get; init; } = [];

    /// <summary>Largest number the converter gives.</summary>
    public double LargestAdu => Math.Pow(2, Bits) - 1;

    /// <summary>Level at which a pixel is clipped, ADU: by the well or by the converter, whichever comes first.</summary>
    public double SaturationAdu => Math.Floor(Math.Min(LargestAdu, BiasAdu + (FullWellElectrons / GainElectronsPerAdu)));

    /// <summary>Throws when it cannot be.</summary>
    public void RequireValid()
    {
        InputException.RequireRange(Width, 1, 100_000, nameof(Width), "pix");
        InputException.RequireRange(Height, 1, 100_000, nameof(Height), "pix");
        InputException.RequireRange(PitchUm, 0.1, 1000, nameof(PitchUm), "um");
        InputException.RequireRange(GainElectronsPerAdu, 1e-4, 1e4, nameof(GainElectronsPerAdu), "electron/adu");
        InputException.RequireRange(ReadNoiseElectrons, 0, 1e4, nameof(ReadNoiseElectrons), "electron");
        InputException.RequireRange(FullWellElectrons, 1, 1e9, nameof(FullWellElectrons), "electron");
        InputException.RequireRange(Bits, 8, 16, nameof(Bits), "bits");
        InputException.RequireRange(BiasAdu, 0, LargestAdu, nameof(BiasAdu), "adu");
        InputException.RequireRange(DarkElectronsPerS, 0, 1e6, nameof(DarkElectronsPerS), "electron/s");
        InputException.RequireRange(HotPixelShare, 0, 0.5, nameof(HotPixelShare), string.Empty);
        InputException.RequireRange(UnevennessRms, 0, 0.3, nameof(UnevennessRms), string.Empty);
        if (Mosaic.Length != 0 && (Mosaic.Length != 4 || Mosaic.Any(c => "RGB".IndexOf(c, StringComparison.Ordinal) < 0)))
        {
            throw new InputException("detector.mosaic", $"The mosaic '{Mosaic}' is none: give the colors of four pixels, such as RGGB, or nothing.", "mosaic");
        }

        if (Efficiency.Count != EfficiencyWavelengthsNm.Count || Efficiency.Count == 1)
        {
            throw new InputException("detector.efficiency", "The quantum efficiency needs as many wavelengths as values, two at least.", "efficiency");
        }
    }

    /// <summary>Quantum efficiency at a wavelength: straight lines between the points, the end values beyond.</summary>
    public double EfficiencyAt(double wavelengthNm) => Efficiency.Count == 0
        ? 1
        : Math.Clamp(Interpolate.Linear(EfficiencyWavelengthsNm, Efficiency)
            .Interpolate(Math.Clamp(wavelengthNm, EfficiencyWavelengthsNm[0], EfficiencyWavelengthsNm[^1])), 0, 1);

    /// <summary>Color of a pixel in the mosaic: 'R', 'G', 'B', or ' ' without one.</summary>
    public char ColorAt(int x, int y) => Mosaic.Length == 0 ? ' ' : Mosaic[((y & 1) * 2) + (x & 1)];
}
