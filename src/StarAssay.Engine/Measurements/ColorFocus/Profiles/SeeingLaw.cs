using StarAssay.Engine.Optics;
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

    // Damping up to which a transfer function may not rise with frequency: e^-3, a twentieth, is the last that shows in a profile.
    private const double Shows = 3;

    // Width of the bend where a negative blur ends, as a share of the most negative one.
    private const double Soft = 0.2;

    // Of the seeing's law, of one pixel FWHM: damping is this times the frequency to the power of 5/3.
    private static readonly double Structure = 0.5 * Seeing.StructureConstant / Math.Pow(Seeing.FwhmFactor, 5.0 / 3);

    /// <summary>How negative a Gaussian blur's variance may be beside the seeing's law: a share of the square of the seeing's width.</summary>
    /// <remarks>An outer scale takes from the law as such a blur does (Tokovinin 2002, PASP 114, 1156: a share that goes with the third root of
    /// the frequency), and telescopes add wings. But no blur makes a transfer function rise: A f^(5/3) - 2 pi^2 b f^2 must grow up to
    /// the frequency at which A f^(5/3) is <see cref="Shows"/>. A more negative one would let a wide seeing and a blur sharper than none
    /// cancel each other, which fits a disc's edge almost and its size not at all.</remarks>
    public static double MostNegative { get; } = 5.0 / 6 * Structure * Math.Pow(Structure / Shows, 0.2) / (2 * Math.PI * Math.PI);

    /// <summary>A blur's variance that ends softly at the most negative one, with its derivatives by that given and by the logarithm of the
    /// seeing's width.</summary>
    /// <param name="blurPx2">Variance as fitted.</param>
    /// <param name="seeingPx">FWHM of the seeing, pixels.</param>
    public static (double Variance, double ByBlur, double BySeeing) Bounded(double blurPx2, double seeingPx)
    {
        double mostPx2 = MostNegative * seeingPx * seeingPx;
        double above = blurPx2 + mostPx2, soft = Math.Sqrt((above * above) + (Soft * mostPx2 * Soft * mostPx2) + 1e-24);
        return (blurPx2 + (0.5 * (soft - above)), 0.5 * (1 + (above / soft)),
            2 * mostPx2 * ((0.5 * (1 + ((above + (Soft * Soft * mostPx2)) / soft))) - 1));
    }

    /// <summary>A variance in pixels^2 as an RMS blur in um.</summary>
    public static Measured Blur(double variancePx2, double errorPx2, double pitchUm)
    {
        double blur = Math.Sqrt(Math.Max(variancePx2, 0)) * pitchUm;
        // Near zero the root has no slope: its error is the root of the variance's.
        double error = Math.Min(errorPx2 * pitchUm * pitchUm / (2 * Math.Max(blur, 1e-9)), Math.Sqrt(errorPx2) * pitchUm);
        return new Measured(blur, error, "um");
    }
}
