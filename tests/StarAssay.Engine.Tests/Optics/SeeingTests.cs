using MathNet.Numerics;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>Long-exposure seeing: Fried 1966, Noll 1976 (table IV), Racine 1996, Tokovinin 2002, GalSim's constants.</summary>
public class SeeingTests
{
    [Fact]
    public void Constants()
    {
        // Fried's 6.88; FWHM and half-flux radius as in the GalSim project's tests of its Kolmogorov profile.
        Assert.Equal(6.883877, Seeing.StructureConstant, 6);
        Assert.Equal(0.975865, Seeing.FwhmFactor, 1e-5);
        Assert.Equal(0.554811, Seeing.HalfFluxFactor, 1e-5);
        Assert.Equal(0.568533, Seeing.HalfFluxFactor / Seeing.FwhmFactor, 1e-5);
    }

    [Fact]
    public void Transfer_is_one_over_e_where_half_the_structure_function_is_one() =>
        Assert.Equal(Math.Exp(-3.441939), Seeing.Mtf(0.1, 0.1), 6);

    [Theory]
    [InlineData(500, 0.10064)]
    [InlineData(550, 0.11071)]
    public void R0_of_one_arcsecond(double wavelength, double r0)
    {
        Assert.Equal(r0, Seeing.R0FromFwhm(1, wavelength), 1e-5);
        Assert.Equal(1, Seeing.FwhmFromR0(Seeing.R0FromFwhm(1, wavelength), wavelength), 12);
    }

    [Fact]
    public void Scaling_with_wavelength_and_airmass()
    {
        // ESO's astroclimatology pages and Fried; hydrogen lines beta and alpha.
        Assert.Equal(0.94174, Seeing.ScaleFwhm(1, 486.13, 656.28), 5);
        Assert.Equal(1.11843, Seeing.ScaleFwhm(1, 700, 400), 5);
        Assert.Equal(1.27542, Seeing.ScaleFwhm(1, 550, 550, 1, 1.5), 5);
        Assert.Equal(1.51572, Seeing.ScaleFwhm(1, 550, 550, 1, 2), 5);

        // Both roads to the FWHM at another wavelength and airmass must meet.
        double r0 = Seeing.ScaleR0(Seeing.R0FromFwhm(2.3, 500), 500, 850, 1, 1.7);
        Assert.Equal(Seeing.ScaleFwhm(2.3, 500, 850, 1, 1.7), Seeing.FwhmFromR0(r0, 850), 10);
    }

    [Fact]
    public void Outer_scale() => Assert.Equal(0.8246, Seeing.OuterScaleFactor(0.1, 22), 1e-4);

    [Theory]
    [InlineData(1, 1.4153)]
    [InlineData(2, 1.1218)]
    [InlineData(3, 1.0600)]
    [InlineData(5, 1.0209)]
    public void Telescope_and_seeing_together(double apertureOverR0, double fwhm) =>
        Assert.Equal(fwhm, Seeing.CombinedFwhm(apertureOverR0), 1e-4);

    [Theory]
    [InlineData(1, 0.448879)]
    [InlineData(2, 0.0232179)]
    [InlineData(3, 0.00619143)]
    [InlineData(4, 0.00245392)]
    [InlineData(5, 0.00119041)]
    public void Variance_of_a_mode(int order, double variance) => Assert.Equal(variance, Seeing.NollVariance(order), 1e-6 * variance * 10);

    /// <summary>Columns: J, Noll's printed table IV, the exact value.</summary>
    [Theory]
    [InlineData(1, 1.0299, 1.0324)]
    [InlineData(2, 0.582, 0.58354)]
    [InlineData(3, 0.134, 0.13466)]
    [InlineData(4, 0.111, 0.11145)]
    [InlineData(5, 0.0880, 0.08823)]
    [InlineData(6, 0.0648, 0.06501)]
    [InlineData(7, 0.0587, 0.05882)]
    [InlineData(8, 0.0525, 0.05263)]
    [InlineData(9, 0.0463, 0.04644)]
    [InlineData(10, 0.0401, 0.04024)]
    [InlineData(11, 0.0377, 0.03779)]
    [InlineData(12, 0.0352, 0.03534)]
    [InlineData(13, 0.0328, 0.03288)]
    [InlineData(14, 0.0304, 0.03043)]
    [InlineData(15, 0.0279, 0.02798)]
    [InlineData(16, 0.0267, 0.02678)]
    [InlineData(17, 0.0255, 0.02559)]
    [InlineData(18, 0.0243, 0.02440)]
    [InlineData(19, 0.0232, 0.02321)]
    [InlineData(20, 0.0220, 0.02202)]
    [InlineData(21, 0.0208, 0.02083)]
    public void Residual_after_removing_modes(int terms, double printed, double exact)
    {
        double residual = Seeing.NollResidual(terms);
        Assert.Equal(exact, residual, 1e-4);
        Assert.InRange(residual / printed, 1 - 0.01, 1 + 0.01);
        if (terms <= 2)
        {
            Assert.InRange(residual / printed, 1 - 0.003, 1 + 0.003);
        }
    }

    [Fact]
    public void All_modes_together_are_the_piston_removed_variance()
    {
        // Two independent roads: the mean structure function of the disc, and the sum over all modes.
        double sum = 0;
        for (int n = 1; n <= 4000; n++)
        {
            sum += (n + 1) * Seeing.NollVariance(n);
        }

        double tail = 4001 * Seeing.NollVariance(4000) * 4000 / (5.0 / 3);
        Assert.Equal(Seeing.NollResidual(1), sum + tail, 1e-6);
    }

    [Fact]
    public void Encircled_light_of_the_seeing_disc_by_another_road()
    {
        // Half-flux radius again, from the profile itself instead of the Bessel J1 integral.
        double Profile(double r) => Integrate.OnClosedInterval(
            x => 2 * Math.PI * x * Math.Exp(-0.5 * Seeing.StructureConstant * Math.Pow(x, 5.0 / 3)) * SpecialFunctions.BesselJ(0, 2 * Math.PI * r * x), 0, 4,
                1e-9);
        double half = Integrate.OnClosedInterval(r => 2 * Math.PI * r * Profile(r), 0, Seeing.HalfFluxFactor, 1e-6);
        Assert.Equal(0.5, half, 1e-5);
    }
}
