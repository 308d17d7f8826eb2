using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>How many electrons a star gives, how well they can be measured, and how long an exposure may be.</summary>
/// <remarks>Real stars and filters differ by 10 to 20 % from these figures: they serve planning and simulation.</remarks>
public static class Photometry
{
    /// <summary>Photons / (s cm^2 nm) above the air from a star of magnitude 0 in V (Bessell 1998: 996 per angstrom).</summary>
    public const double PhotonsVZero = 9960;

    /// <summary>The same in R (702 per angstrom).</summary>
    public const double PhotonsRZero = 7020;

    /// <summary>The same in I (452 per angstrom).</summary>
    public const double PhotonsIZero = 4520;

    /// <summary>Collecting area in square centimetres.</summary>
    public static double AreaCm2(double apertureMm, double obstruction = 0) =>
        Math.PI / 4 * apertureMm * apertureMm / 100 * (1 - (obstruction * obstruction));

    /// <summary>Electrons a second from a star.</summary>
    /// <param name="magnitude">Magnitude in the passband.</param>
    /// <param name="apertureMm">Aperture, mm.</param>
    /// <param name="obstruction">Obstruction, ratio of diameters.</param>
    /// <param name="bandwidthNm">Width of the passband, nm.</param>
    /// <param name="efficiency">Electrons a photon: air, optics, filter and detector together.</param>
    /// <param name="photonsAtZero">Photons / (s cm^2 nm) at magnitude 0.</param>
    public static double ElectronRate(
        double magnitude,
        double apertureMm,
        double obstruction,
        double bandwidthNm,
        double efficiency,
        double photonsAtZero = PhotonsVZero)
    {
        InputException.RequireRange(efficiency, 0, 1, nameof(efficiency), string.Empty);
        InputException.RequireRange(bandwidthNm, 0.01, 2000, nameof(bandwidthNm), "nm");
        return photonsAtZero * Math.Pow(10, -0.4 * magnitude) * AreaCm2(apertureMm, obstruction) * bandwidthNm * efficiency;
    }

    /// <summary>
    /// Signal-to-noise ratio in an aperture (Merline and Howell 1995, Experimental Astronomy 6, 163, as used by Collins et al.
    /// 2017, AJ 153, 77). All in electrons.
    /// </summary>
    /// <param name="flux">Electrons of the star in the aperture.</param>
    /// <param name="pixels">Pixels in the aperture.</param>
    /// <param name="skyPixels">Pixels the background was taken from; infinity when it is known.</param>
    /// <param name="skyPerPixel">Background electrons a pixel.</param>
    /// <param name="darkPerPixel">Dark electrons a pixel.</param>
    /// <param name="readNoise">Read noise, RMS electrons.</param>
    /// <param name="gain">Electrons for one ADU: adds the rounding noise 0.289 gain.</param>
    public static double SignalToNoise(
        double flux,
        double pixels,
        double skyPixels,
        double skyPerPixel,
        double darkPerPixel,
        double readNoise,
        double gain)
    {
        double rounding = 0.289 * gain;
        double each = skyPerPixel + darkPerPixel + (readNoise * readNoise) + (rounding * rounding);
        return flux / Math.Sqrt(flux + (pixels * (1 + (pixels / skyPixels)) * each));
    }

    /// <summary>Magnitude error of a signal-to-noise ratio: 2.5 / ln 10 / SNR = 1.0857 / SNR.</summary>
    public static double MagnitudeError(double signalToNoise) => 2.5 / Math.Log(10) / signalToNoise;

    /// <summary>
    /// Longest exposure in seconds that keeps the brightest pixel of a focused star below a level.
    /// </summary>
    /// <param name="electronRate">Electrons a second of the star.</param>
    /// <param name="peakShare">Share of its light in the brightest pixel (see <see cref="PeakShare"/>).</param>
    /// <param name="levelElectrons">Level to stay below, electrons: for example 0.7 of full well.</param>
    /// <param name="skyRate">Background electrons a second in the pixel.</param>
    public static double LongestExposureS(double electronRate, double peakShare, double levelElectrons, double skyRate = 0)
    {
        double rate = (electronRate * peakShare) + skyRate;
        return rate > 0 ? levelElectrons / rate : double.PositiveInfinity;
    }

    /// <summary>Share of a Gaussian star's light in a pixel centred on it: erf(p / (2 sqrt2 s))^2.</summary>
    public static double PeakShare(double fwhmPixels)
    {
        InputException.RequireRange(fwhmPixels, 1e-3, 1e5, nameof(fwhmPixels), "pix");
        double sigma = fwhmPixels / (2 * Math.Sqrt(2 * Math.Log(2)));
        double side = MathNet.Numerics.SpecialFunctions.Erf(0.5 / (Math.Sqrt(2) * sigma));
        return side * side;
    }

    /// <summary>Mean share of a strongly defocused star's light in one pixel: one over the disc's (or ring's) area in pixels.</summary>
    public static double DefocusedShare(double shiftUm, double focalRatio, double pitchUm, double obstruction = 0)
    {
        double diameter = Defocus.BlurDiameter(shiftUm, focalRatio) / pitchUm;
        return 1 / (Math.PI / 4 * diameter * diameter * (1 - (obstruction * obstruction)));
    }
}
