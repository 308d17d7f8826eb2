namespace StarAssay.Engine.Optics;

/// <summary>Which published formula for the index of standard air.</summary>
public enum AirFormula
{
    /// <summary>Morton 2000, ApJS 130, 403, from Birch and Downs 1994.</summary>
    Morton,

    /// <summary>Ciddor 1996, Appl. Opt. 35, 1566.</summary>
    Ciddor,

    /// <summary>Edlen 1953, J. Opt. Soc. Am. 43, 339.</summary>
    Edlen,
}

/// <summary>Wavelengths in standard dry air (15 C, 101325 Pa, 450 ppm CO2) and in vacuum.</summary>
/// <remarks>The three formulas agree within 2e-5 nm from 400 to 850 nm. Below 200 nm wavelengths are given in vacuum by
/// custom and no formula holds.</remarks>
public static class AirIndex
{
    /// <summary>n - 1 of standard air at a vacuum wavelength.</summary>
    public static double Refractivity(double vacuumNm, AirFormula formula = AirFormula.Morton)
    {
        double s2 = 1e6 / (vacuumNm * vacuumNm);
        return formula switch
        {
            AirFormula.Ciddor => (0.05792105 / (238.0185 - s2)) + (0.00167917 / (57.362 - s2)),
            AirFormula.Edlen => 6.4328e-5 + (0.0294981 / (146 - s2)) + (2.5540e-4 / (41 - s2)),
            _ => 8.34254e-5 + (0.02406147 / (130 - s2)) + (1.5998e-4 / (38.9 - s2)),
        };
    }

    /// <summary>Wavelength in air of a vacuum wavelength.</summary>
    public static double VacuumToAir(double vacuumNm, AirFormula formula = AirFormula.Morton) =>
        vacuumNm / (1 + Refractivity(vacuumNm, formula));

    /// <summary>Vacuum wavelength of a wavelength in air, by iteration to 1e-12 of itself.</summary>
    public static double AirToVacuum(double airNm, AirFormula formula = AirFormula.Morton)
    {
        double vacuum = airNm;
        for (int i = 0; i < 6; i++)
        {
            vacuum = airNm * (1 + Refractivity(vacuum, formula));
        }

        return vacuum;
    }
}
