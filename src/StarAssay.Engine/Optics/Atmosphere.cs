using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>What the air does besides seeing: airmass, dispersion, scintillation, extinction.</summary>
public static class Atmosphere
{
    private const double Degree = Math.PI / 180;

    /// <summary>Airmass at an apparent zenith distance in degrees.</summary>
    /// <remarks>Kasten and Young 1989, Applied Optics 28, 4735. Gives 0.9997 at the zenith, as printed.</remarks>
    public static double AirmassKastenYoung(double zenithDistanceDeg)
    {
        InputException.RequireRange(zenithDistanceDeg, 0, 90, nameof(zenithDistanceDeg), "deg");
        return 1 / (Math.Cos(zenithDistanceDeg * Degree) + (0.50572 * Math.Pow(96.07995 - zenithDistanceDeg, -1.6364)));
    }

    /// <summary>Airmass at an apparent zenith distance in degrees, made for low altitudes.</summary>
    /// <remarks>Pickering 2002, DIO 12.</remarks>
    public static double AirmassPickering(double zenithDistanceDeg)
    {
        InputException.RequireRange(zenithDistanceDeg, 0, 90, nameof(zenithDistanceDeg), "deg");
        double altitude = 90 - zenithDistanceDeg;
        return 1 / Math.Sin((altitude + (244 / (165 + (47 * Math.Pow(altitude, 1.1))))) * Degree);
    }

    /// <summary>Refractive index of air less 1.</summary>
    /// <param name="wavelengthNm">Vacuum wavelength, nm.</param>
    /// <param name="pressureMmHg">Pressure, mm of mercury.</param>
    /// <param name="temperatureC">Temperature, degrees Celsius.</param>
    /// <param name="vapourMmHg">Water vapour pressure, mm of mercury.</param>
    /// <remarks>Filippenko 1982, PASP 94, 715, equations after Edlen and Barrell.</remarks>
    public static double Refractivity(double wavelengthNm, double pressureMmHg = 760, double temperatureC = 15, double vapourMmHg = 8)
    {
        InputException.RequireRange(wavelengthNm, 200, 5000, nameof(wavelengthNm), "nm");
        double s2 = 1e6 / (wavelengthNm * wavelengthNm);
        double standard = 64.328 + (29498.1 / (146 - s2)) + (255.4 / (41 - s2));
        double warm = 1 + (0.003661 * temperatureC);
        double dry = standard * pressureMmHg * (1 + ((1.049 - (0.0157 * temperatureC)) * 1e-6 * pressureMmHg)) / (720.883 * warm);
        return (dry - (vapourMmHg * (0.0624 - (0.000680 * s2)) / warm)) * 1e-6;
    }

    /// <summary>
    /// Differential refraction against a reference wavelength, arcseconds; positive = raised towards the zenith. Plane
    /// air, good to airmass 3 (Filippenko 1982).
    /// </summary>
    public static double DifferentialRefractionArcsec(
        double wavelengthNm,
        double referenceNm,
        double zenithDistanceDeg,
        double pressureMmHg = 760,
        double temperatureC = 15,
        double vapourMmHg = 8)
    {
        InputException.RequireRange(zenithDistanceDeg, 0, 85, nameof(zenithDistanceDeg), "deg");
        double difference = Refractivity(wavelengthNm, pressureMmHg, temperatureC, vapourMmHg)
            - Refractivity(referenceNm, pressureMmHg, temperatureC, vapourMmHg);
        return Seeing.ArcsecPerRadian * difference * Math.Tan(zenithDistanceDeg * Degree);
    }

    /// <summary>Relative RMS of the light of a star by scintillation (Young 1967).</summary>
    /// <remarks>Osborn et al. 2015, MNRAS 452, 1707: real nights are a median 1.5 times worse, so
    /// <paramref name="siteFactor"/> is 1.5 unless the bare form is wanted.</remarks>
    public static double Scintillation(double apertureMm, double exposureS, double airmass, double altitudeM = 0, double siteFactor = 1.5)
    {
        InputException.RequireRange(apertureMm, 1, 50_000, nameof(apertureMm), "mm");
        InputException.RequireRange(exposureS, 1e-4, 1e5, nameof(exposureS), "s");
        return siteFactor * 0.09 * Math.Pow(apertureMm / 10, -2.0 / 3) * Math.Pow(airmass, 1.75)
            / Math.Sqrt(2 * exposureS) * Math.Exp(-altitudeM / 8000);
    }

    /// <summary>Extinction in magnitudes at an airmass.</summary>
    public static double ExtinctionMag(double magPerAirmass, double airmass) => magPerAirmass * airmass;

    /// <summary>
    /// Typical extinction in magnitudes an airmass at a good site, between 400 and 650 nm; sites differ by 0.05 and low ones
    /// by more, so it serves planning only.
    /// </summary>
    /// <remarks>Palomar table of the Hayes and Latham type, at 1,700 m.</remarks>
    public static double TypicalExtinction(double wavelengthNm) =>
        MathNet.Numerics.Interpolate.Linear(
            [400, 450, 500, 560, 600, 650],
            [0.385, 0.244, 0.178, 0.150, 0.127, 0.085]).Interpolate(Math.Clamp(wavelengthNm, 400, 650));
}
