using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Figures of merit of color focus alone: every other aberration and the seeing are left out.</summary>
public sealed record MeritResult
{
    /// <summary>Share of the light whose defocus lies within +-2 lambda N^2.</summary>
    public required Measured InFocusFraction { get; init; }

    /// <summary>Largest share of the light in one step of the sum over wavelengths: the fraction is not told finer than that.</summary>
    public required double LightStep { get; init; }

    /// <summary>RMS radius of the geometric blur over the band, um.</summary>
    public required Measured RmsBlur { get; init; }

    /// <summary>The same on the sky, arcsec.</summary>
    public required Measured RmsBlurSky { get; init; }

    /// <summary>Strehl ratio averaged over the light.</summary>
    public required Measured PolychromaticStrehl { get; init; }

    /// <summary>Share of the light outside the halo radius.</summary>
    public required Measured HaloFraction { get; init; }

    /// <summary>Radius used for the halo, um.</summary>
    public required double HaloRadiusUm { get; init; }

    /// <summary>Mean focus of F and C minus that of d over the focal length; NaN when the band does not hold them.</summary>
    public required Measured SecondarySpectrum { get; init; }

    /// <summary>Longest minus shortest focus within the band over the focal length.</summary>
    public required Measured FocusSpread { get; init; }

    /// <summary>Sensor position, um on the curve's scale.</summary>
    public required double SensorUm { get; init; }

    /// <summary>Edges of the band used.</summary>
    public required double[] BandNm { get; init; }

    /// <summary>Where the sensor stands: as was asked for.</summary>
    public required FocusChoice Focus { get; init; }

    /// <summary>Edges of the passband that keeps the most light at the wanted Strehl ratio; NaN = none does.</summary>
    public required double[] BestBandNm { get; init; }

    /// <summary>Share of the band's light it keeps.</summary>
    public required double BestBandLight { get; init; }

    /// <summary>Polychromatic Strehl ratio through it, refocused.</summary>
    public required double BestBandStrehl { get; init; }

    /// <summary>Candidate short edges of a cut-on filter.</summary>
    public required double[] CutOnNm { get; init; }

    /// <summary>Strehl ratio with each, refocused.</summary>
    public required double[] CutStrehl { get; init; }

    /// <summary>In-focus fraction with each.</summary>
    public required double[] CutInFocus { get; init; }

    /// <summary>Light kept with each.</summary>
    public required double[] CutLight { get; init; }

    /// <summary>Defocus in units of the depth of focus 2 lambda N^2 at each wavelength given.</summary>
    public required double[] DefocusDepths { get; init; }

    /// <summary>Geometric blur diameter at each wavelength, arcsec.</summary>
    public required double[] BlurArcsec { get; init; }
}
