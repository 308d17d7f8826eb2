using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics;

/// <summary>Light of a star by its temperature, and what a silicon sensor makes of it; relative, since only shares matter.</summary>
public static class StellarLight
{
    /// <summary>Second radiation constant hc/k, nm K (CODATA 2018).</summary>
    private const double SecondRadiationNmK = 1.438776877e7;

    private static readonly double[] EfficiencyNm = [370, 450, 550, 650, 750, 850, 1000];
    private static readonly double[] Efficiency = [0.5, 0.75, 0.9, 0.8, 0.6, 0.4, 0.1];

    /// <summary>Photons per nm of a black body by Planck's law, (500 nm / wavelength)^4 / (exp(hc / (wavelength k T)) - 1).</summary>
    public static double BlackBody(double wavelengthNm, double kelvin) =>
        Math.Pow(500 / wavelengthNm, 4) / double.ExpM1(SecondRadiationNmK / (wavelengthNm * kelvin));

    /// <summary>Quantum efficiency of a silicon sensor behind a clear window, zero below 370 nm (common practice, no source).</summary>
    public static double SiliconEfficiency(double wavelengthNm) =>
        LinearTable.At(EfficiencyNm, Efficiency, wavelengthNm) * Math.Clamp((wavelengthNm - 370) / 60, 0, 1);

    /// <summary>Electrons per nm that a star's light frees in such a sensor, relative.</summary>
    public static double OnSilicon(double wavelengthNm, double kelvin) => BlackBody(wavelengthNm, kelvin) * SiliconEfficiency(wavelengthNm);
}
