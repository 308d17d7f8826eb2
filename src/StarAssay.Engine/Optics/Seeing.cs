using MathNet.Numerics;
using MathNet.Numerics.RootFinding;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>Long-exposure blur by Kolmogorov turbulence, and how it changes with wavelength, airmass and outer scale.</summary>
/// <remarks>
/// r0 is Fried's length at the wavelength in question, in metres; angles are arcseconds. Sources: Fried 1966, J. Opt. Soc.
/// Am. 56, 1372 (structure function, long-exposure transfer); Roddier 1981, Progress in Optics 19; Noll 1976, J. Opt. Soc.
/// Am. 66, 207 (residuals); Tokovinin 2002, PASP 114, 1156 (outer scale).
/// </remarks>
public static class Seeing
{
    /// <summary>Arcseconds in a radian.</summary>
    public const double ArcsecPerRadian = 648_000 / Math.PI;

    /// <summary>The constant usually printed as 6.88: 2 [(24/5) Gamma(6/5)]^(5/6).</summary>
    public static readonly double StructureConstant = 2 * Math.Pow(24.0 / 5 * SpecialFunctions.Gamma(1.2), 5.0 / 6);

    // Half-width and half-flux radius of the transform of exp(-0.5 C x^(5/3)), in lambda / r0, from the integrals below.
    private static readonly Lazy<double> FwhmFactorValue = new(() => 2 * Brent.FindRoot(
        r => (Hankel(r, AtmosphereAt) / Hankel(0, AtmosphereAt)) - 0.5, 0.2, 0.8, 1e-12, 200));

    private static readonly Lazy<double> HalfFluxFactorValue = new(() => Brent.FindRoot(
        r => Encircled(r, AtmosphereAt) - 0.5, 0.2, 1.2, 1e-12, 200));

    /// <summary>FWHM of the long-exposure image without a telescope's own blur, in lambda / r0: 0.975863.</summary>
    public static double FwhmFactor => FwhmFactorValue.Value;

    /// <summary>Half-flux radius of the same, in lambda / r0: 0.554810.</summary>
    public static double HalfFluxFactor => HalfFluxFactorValue.Value;

    /// <summary>Radius in lambda / r0 that holds a share of the light of the long-exposure image, telescope's own blur left out.</summary>
    /// <param name="share">0 to 0.99.</param>
    public static double EncircledRadius(double share)
    {
        InputException.RequireRange(share, 0, 0.99, nameof(share), "");
        return share == 0 ? 0 : Brent.FindRoot(r => Encircled(r, AtmosphereAt) - share, 0, 12, 1e-9, 200);
    }

    /// <summary>Phase structure function in rad^2 at a separation in metres.</summary>
    public static double StructureFunction(double separationM, double r0M) =>
        StructureConstant * Math.Pow(Math.Abs(separationM) / r0M, 5.0 / 3);

    /// <summary>Long-exposure transfer at a separation lambda f in the pupil (metres): exp(-D / 2).</summary>
    public static double Mtf(double separationM, double r0M) => Math.Exp(-0.5 * StructureFunction(separationM, r0M));

    /// <summary>r0 in metres for a seeing FWHM in arcseconds at a wavelength.</summary>
    public static double R0FromFwhm(double fwhmArcsec, double wavelengthNm)
    {
        InputException.RequireRange(fwhmArcsec, 0.01, 100, nameof(fwhmArcsec), "arcsec");
        return FwhmFactor * wavelengthNm * 1e-9 / (fwhmArcsec / ArcsecPerRadian);
    }

    /// <summary>Seeing FWHM in arcseconds for r0 in metres at a wavelength.</summary>
    public static double FwhmFromR0(double r0M, double wavelengthNm) =>
        FwhmFactor * wavelengthNm * 1e-9 / r0M * ArcsecPerRadian;

    /// <summary>(D/r0)^(5/3) of a seeing FWHM: how strongly turbulence blurs behind an aperture; 0 for no seeing.</summary>
    public static double StrengthFromFwhm(double fwhmArcsec, double wavelengthNm, double apertureMm) => fwhmArcsec <= 0
        ? 0
        : Math.Pow(apertureMm * fwhmArcsec / (FwhmFactor * wavelengthNm * 1e-6 * ArcsecPerRadian), 5.0 / 3);

    /// <summary>Seeing FWHM in arcseconds of (D/r0)^(5/3).</summary>
    public static double FwhmFromStrength(double strength, double wavelengthNm, double apertureMm) =>
        FwhmFactor * wavelengthNm * 1e-6 / apertureMm * Math.Pow(Math.Max(strength, 0), 0.6) * ArcsecPerRadian;

    /// <summary>Seeing FWHM at another wavelength and airmass: lambda^(-1/5), airmass^(3/5).</summary>
    /// <remarks>Infinite outer scale; on a real sky the wavelength exponent is steeper by a few hundredths.</remarks>
    public static double ScaleFwhm(double fwhmArcsec, double fromWavelengthNm, double toWavelengthNm, double fromAirmass = 1, double toAirmass = 1) =>
        fwhmArcsec * Math.Pow(toWavelengthNm / fromWavelengthNm, -0.2) * Math.Pow(toAirmass / fromAirmass, 0.6);

    /// <summary>r0 at another wavelength and airmass: lambda^(6/5), airmass^(-3/5).</summary>
    public static double ScaleR0(double r0M, double fromWavelengthNm, double toWavelengthNm, double fromAirmass = 1, double toAirmass = 1) =>
        r0M * Math.Pow(toWavelengthNm / fromWavelengthNm, 1.2) * Math.Pow(toAirmass / fromAirmass, -0.6);

    /// <summary>Factor on the FWHM by a finite outer scale: sqrt(1 - 2.183 (r0 / L0)^0.356) (Tokovinin 2002).</summary>
    public static double OuterScaleFactor(double r0M, double outerScaleM) =>
        Math.Sqrt(1 - (2.183 * Math.Pow(r0M / outerScaleM, 0.356)));

    /// <summary>FWHM of telescope and seeing together, in lambda / r0, from the product of the two transfers.</summary>
    /// <remarks>Not the root of the sum of squares, which is 2 to 2.5 % low for D / r0 of 2 to 5.</remarks>
    public static double CombinedFwhm(double apertureOverR0, double obstruction = 0)
    {
        double Transfer(double x) => AtmosphereAt(x) * Airy.Mtf(x / apertureOverR0, obstruction);
        double top = Math.Min(SeeingEnd, apertureOverR0);
        double peak = Hankel(0, Transfer, top);
        return 2 * Brent.FindRoot(r => (Hankel(r, Transfer, top) / peak) - 0.5, 0.05, 3, 1e-10, 200);
    }

    /// <summary>
    /// Phase variance left in rad^2 (D / r0)^(5/3) when the first J Zernike terms (Noll's order) are removed: the
    /// piston-removed variance less the modes' own, in full precision.
    /// </summary>
    /// <remarks>Noll's table IV is 0.25 to 0.5 % below his own theory; these are the exact values.</remarks>
    public static double NollResidual(int terms)
    {
        if (terms < 1)
        {
            throw new InputException("seeing.terms", $"{terms} terms were asked for; count them from 1 (piston).", nameof(terms));
        }

        double left = PistonRemoved();
        int order = 1;
        int of = 0;
        for (int j = 2; j <= terms; j++)
        {
            left -= NollVariance(order);
            if (++of > order)
            {
                order++;
                of = 0;
            }
        }

        return left;
    }

    /// <summary>Variance of one Zernike mode of radial order n in rad^2 (D / r0)^(5/3) (Noll 1976, n from 1).</summary>
    public static double NollVariance(int n)
    {
        double logs = SpecialFunctions.GammaLn(14.0 / 3) + SpecialFunctions.GammaLn(n - (5.0 / 6))
            - (2 * SpecialFunctions.GammaLn(17.0 / 6)) - SpecialFunctions.GammaLn(n + (23.0 / 6));
        double gamma = SpecialFunctions.Gamma(11.0 / 6);
        return (n + 1) * StructureConstant * gamma * gamma / (4 * Math.PI * Math.Pow(2, 5.0 / 3)) * Math.Exp(logs);
    }

    /// <summary>
    /// Half the mean structure function over all pairs of points of the aperture; for a disc of diameter 1 the distances s
    /// have the density 16 s / pi (acos s - s sqrt(1 - s^2)).
    /// </summary>
    private static double PistonRemoved() =>
        0.5 * StructureConstant * Quadrature.Integrate(
            t =>
            {
                double s = Math.Sin(t);
                double c = Math.Cos(t);
                return Math.Pow(s, 8.0 / 3) * 16 / Math.PI * ((Math.PI / 2) - t - (s * c)) * c;
            },
            0,
            Math.PI / 2,
            16);

    private const double SeeingEnd = 4.5;

    private static double AtmosphereAt(double x) => Math.Exp(-0.5 * StructureConstant * Math.Pow(x, 5.0 / 3));

    private static double Hankel(double r, Func<double, double> transfer, double top = SeeingEnd) =>
        2 * Math.PI * Quadrature.Integrate(x => x * transfer(x) * SpecialFunctions.BesselJ(0, 2 * Math.PI * r * x), 0, top, 8);

    private static double Encircled(double r, Func<double, double> transfer) =>
        2 * Math.PI * r * Quadrature.Integrate(x => transfer(x) * SpecialFunctions.BesselJ(1, 2 * Math.PI * r * x), 0, SeeingEnd, 8);
}
