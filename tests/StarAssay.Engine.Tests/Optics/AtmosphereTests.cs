using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>Airmass (Kasten and Young 1989, Pickering 2002), dispersion (Filippenko 1982), scintillation (Young 1967).</summary>
public class AtmosphereTests
{
    [Theory]
    [InlineData(0, 0.9997, double.NaN)]
    [InlineData(30, 1.1540, double.NaN)]
    [InlineData(45, 1.4126, double.NaN)]
    [InlineData(60, 1.9943, 1.9932)]
    [InlineData(70, 2.9031, 2.9001)]
    [InlineData(80, 5.5860, 5.5807)]
    [InlineData(85, 10.3058, 10.3337)]
    [InlineData(90, 37.92, 38.75)]
    public void Airmass(double zenithDistance, double kastenYoung, double pickering)
    {
        double tolerance = zenithDistance == 90 ? 5e-3 : 1e-4;
        Assert.Equal(kastenYoung, Atmosphere.AirmassKastenYoung(zenithDistance), tolerance);
        if (!double.IsNaN(pickering))
        {
            Assert.Equal(pickering, Atmosphere.AirmassPickering(zenithDistance), tolerance);
        }
    }

    /// <summary>Filippenko's table for 2 km altitude (P 600, T 7, f 8), arcseconds against 500 nm.</summary>
    [Theory]
    [InlineData(1.10, 0.97, 0.55, 0.29, 0.12, -0.09, -0.15, -0.20, -0.24, -0.30, -0.34, -0.37)]
    [InlineData(1.30, 1.76, 1.00, 0.53, 0.22, -0.16, -0.28, -0.37, -0.44, -0.55, -0.62, -0.67)]
    [InlineData(1.50, 2.37, 1.34, 0.71, 0.29, -0.21, -0.37, -0.50, -0.60, -0.74, -0.84, -0.91)]
    [InlineData(2.00, 3.67, 2.08, 1.10, 0.45, -0.33, -0.58, -0.77, -0.92, -1.15, -1.30, -1.40)]
    public void Differential_refraction(double secant, params double[] table)
    {
        double[] wavelengths = [300, 350, 400, 450, 550, 600, 650, 700, 800, 900, 1000];
        double z = Math.Acos(1 / secant) * 180 / Math.PI;
        for (int i = 0; i < table.Length; i++)
        {
            Assert.Equal(table[i], Atmosphere.DifferentialRefractionArcsec(wavelengths[i], 500, z, 600, 7, 8), 0.01);
        }
    }

    [Fact]
    public void Differential_refraction_at_sea_level()
    {
        double z = Math.Acos(1 / 1.5) * 180 / Math.PI;
        Assert.Equal(0.877, Atmosphere.DifferentialRefractionArcsec(400, 500, z), 1e-3);
        Assert.Equal(-0.734, Atmosphere.DifferentialRefractionArcsec(700, 500, z), 1e-3);
    }

    [Fact]
    public void Scintillation_and_extinction()
    {
        Assert.Equal(0.0043, Atmosphere.Scintillation(100, 10, 1, siteFactor: 1), 1e-4);
        Assert.Equal(1.5, Atmosphere.Scintillation(100, 10, 1) / Atmosphere.Scintillation(100, 10, 1, siteFactor: 1), 12);
        Assert.Equal(0.150, Atmosphere.TypicalExtinction(560), 12);
        Assert.Equal(0.3, Atmosphere.ExtinctionMag(0.15, 2), 12);
    }

    [Fact]
    public void Below_the_horizon_is_refused() => Assert.Throws<InputException>(() => Atmosphere.AirmassKastenYoung(91));
}
