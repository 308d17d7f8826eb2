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

    // Outer scales of the air are 5 m and more, some 20 m as a rule (Ziad et al. 2000, Appl. Opt. 39, 5415), m.
    private const double LeastOuterScale = 4;

    // Width of the bend where a negative blur ends, as a share of the most negative one.
    private const double Soft = 0.2;

    /// <summary>How negative a Gaussian blur's variance may be for the seeing's law and it to be an air that there is: pixels^2 for each
    /// pixel of the seeing's width to the power of 5/3.</summary>
    /// <remarks>An outer scale L takes 1.485 (r / L)^(1/3) of the structure function at a separation r (Tokovinin 2002, PASP 114, 1156).
    /// Times r^(5/3) that goes as r^2: as a Gaussian of negative variance. More than that would let a wide seeing and a sharp blur
    /// cancel each other, which fits a disc's edge almost and its size not at all.</remarks>
    /// <param name="nm">Wavelength.</param>
    /// <param name="focalLengthMm">Of the telescope; a meter if not known, the third root of which hardly counts.</param>
    /// <param name="pitchUm">Of the pixels.</param>
    public static double FaintestWings(double nm, double focalLengthMm, double pitchUm)
    {
        double focal = double.IsFinite(focalLengthMm) && focalLengthMm > 0 ? focalLengthMm : 1000;
        double separation = nm * focal / pitchUm * 1e-6; // m in the pupil for one cycle a pixel
        double structure = 0.5 * Seeing.StructureConstant / Math.Pow(Seeing.FwhmFactor, 5.0 / 3);
        return structure * 1.485 * Math.Cbrt(separation / LeastOuterScale) / (2 * Math.PI * Math.PI);
    }

    /// <summary>A blur's variance that ends softly at the most negative one, with its derivatives by that given and by the logarithm of the
    /// seeing's width.</summary>
    /// <param name="blurPx2">Variance as fitted.</param>
    /// <param name="mostPx2">Size of the most negative one, which goes with the seeing's width to the power of 5/3.</param>
    public static (double Variance, double ByBlur, double BySeeing) Bounded(double blurPx2, double mostPx2)
    {
        double above = blurPx2 + mostPx2, soft = Math.Sqrt((above * above) + (Soft * mostPx2 * Soft * mostPx2) + 1e-24);
        return (blurPx2 + (0.5 * (soft - above)), 0.5 * (1 + (above / soft)),
            5.0 / 3 * mostPx2 * ((0.5 * (1 + ((above + (Soft * Soft * mostPx2)) / soft))) - 1));
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
