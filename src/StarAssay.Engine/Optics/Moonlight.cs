using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>The Moon's limb in front of a telescope.</summary>
public sealed record MoonLimbRequest
{
    /// <summary>Diameter of the entrance pupil, mm.</summary>
    public required double ApertureMm { get; init; }

    /// <summary>Focal length at the sensor, mm.</summary>
    public required double FocalLengthMm { get; init; }

    /// <summary>Central obstruction, ratio of diameters.</summary>
    public double Obstruction { get; init; }

    /// <summary>Pixel pitch, um.</summary>
    public required double PitchUm { get; init; }

    /// <summary>Full width of the filter about 550 nm, nm.</summary>
    [Field(Low = 0.01, High = 800)]
    public double BandwidthNm { get; init; } = 300;

    /// <summary>Electrons for a photon that reaches the objective.</summary>
    [Field(Low = 0.001, High = 1)]
    public double Efficiency { get; init; } = 0.5;

    /// <summary>Level that the brightest pixel is to stay below, electrons.</summary>
    public required double LevelElectrons { get; init; }

    /// <summary>Lit share of the disc.</summary>
    [Field(Low = 0.01, High = 1)]
    public required double LitShare { get; init; }
}

/// <summary>How bright the Moon's limb is, for planning.</summary>
/// <param name="Brightness">Of the lit part in the mean, V magnitudes a square arcsecond.</param>
/// <param name="LongestS">Exposure at which the bright limb reaches the level.</param>
public sealed record Moonlight([property: Field(Unit = "mag / arcsec2")] double Brightness, double LongestS)
{
    /// <summary>Mean radius of the disc, arcsec (Allen's Astrophysical Quantities, from memory).</summary>
    private const double RadiusArcsec = 932.6;

    /// <summary>The limb towards the Sun against the mean of the lit part (a judgment, no source).</summary>
    private const double LimbFactor = 2;

    /// <summary>V magnitude of the whole Moon at a phase angle in degrees: -12.73 + 0.026 a + 4e-9 a^4.</summary>
    /// <remarks>Krisciunas and Schaefer 1991, PASP 103, 1033, after Allen (from memory).</remarks>
    public static double Magnitude(double phaseDeg) => -12.73 + (0.026 * Math.Abs(phaseDeg)) + (4e-9 * Math.Pow(phaseDeg, 4));

    /// <summary>Computes it.</summary>
    [EngineTask("optics.moon-limb")]
    public static Moonlight Of(MoonLimbRequest request)
    {
        InputException.RequireRange(request.LitShare, 0.01, 1, "lit_share", "");
        InputException.RequireRange(request.PitchUm, 0.1, 1000, "pitch", "um");
        _ = Defocus.FocalRatio(request.ApertureMm, request.FocalLengthMm);
        double phase = Math.Acos((2 * request.LitShare) - 1) * 180 / Math.PI;
        double brightness = Magnitude(phase) + (2.5 * Math.Log10(request.LitShare * Math.PI * RadiusArcsec * RadiusArcsec));
        double pixel = request.PitchUm / 1000 / request.FocalLengthMm * Seeing.ArcsecPerRadian;
        double rate = Photometry.ElectronRate(brightness, request.ApertureMm, request.Obstruction, request.BandwidthNm, request.Efficiency) * pixel * pixel;
        return new Moonlight(brightness, Photometry.LongestExposureS(rate, LimbFactor, request.LevelElectrons));
    }
}
