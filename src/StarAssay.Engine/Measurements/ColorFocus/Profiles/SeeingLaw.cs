using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>How the seeing's width goes with the wavelength, and what the spectrograph adds to it.</summary>
internal static class SeeingLaw
{
    /// <summary>Exponent of the wavelength. Kolmogorov's law has -0.2 (Fried 1966), an outer scale of 8 m makes it -0.38 (from the
    /// approximation of Tokovinin 2002, PASP 114, 1156, for 1.5 to 3 arcsec); outer scales of some 20 m are usual.</summary>
    public const double Exponent = -0.25;

    /// <summary>Its standard deviation before the data speak.</summary>
    public const double ExponentSigma = 0.08;

    /// <summary>A variance in pixels^2 as an RMS blur in um.</summary>
    public static Measured Blur(double variancePx2, double errorPx2, double pitchUm)
    {
        double blur = Math.Sqrt(Math.Max(variancePx2, 0)) * pitchUm;
        // Near zero the root has no slope: its error is the root of the variance's.
        double error = Math.Min(errorPx2 * pitchUm * pitchUm / (2 * Math.Max(blur, 1e-9)), Math.Sqrt(errorPx2) * pitchUm);
        return new Measured(blur, error, "um");
    }
}
