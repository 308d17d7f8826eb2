using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>Truth: Wien's displacement law for photons per wavelength: x e^x / (e^x - 1) = 4, x = 3.920690, so the peak lies at
/// hc/(k x) = 3.669704 mm K (closed form, solved here by its own equation).</summary>
public class StellarLightTests
{
    [Theory]
    [InlineData(3500)]
    [InlineData(5772)]
    [InlineData(9600)]
    public void Photons_of_a_black_body_peak_where_Wien_says(double kelvin)
    {
        const double X = 3.920690394872886;
        Assert.Equal(4, X * Math.Exp(X) / (Math.Exp(X) - 1), 1e-12);
        double peak = 1.438776877e7 / (X * kelvin);
        double Slope(double nm) => StellarLight.BlackBody(nm * 1.0001, kelvin) - StellarLight.BlackBody(nm / 1.0001, kelvin);
        Assert.True(Slope(peak * 0.999) > 0 && Slope(peak * 1.001) < 0);
    }

    /// <summary>Long waves: exp(x) - 1 = x (1 + x/2), the Rayleigh-Jeans limit.</summary>
    [Fact]
    public void Long_waves_follow_Rayleigh_and_Jeans()
    {
        const double Nm = 1e6, Kelvin = 6000;
        double x = 1.438776877e7 / (Nm * Kelvin);
        Assert.Equal(Math.Pow(500 / Nm, 4) / (x * (1 + (x / 2))), StellarLight.BlackBody(Nm, Kelvin), 1e-6 * StellarLight.BlackBody(Nm, Kelvin));
    }
}
