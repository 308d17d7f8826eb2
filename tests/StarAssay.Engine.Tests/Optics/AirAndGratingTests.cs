using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using Xunit;

namespace StarAssay.Engine.Tests.Optics;

public class AirAndGratingTests
{
    [Theory] // check points in the documentation of the IDL and R astronomy libraries (Morton's formula), 1e-4 nm
    [InlineData(605.6125, 605.78019)]
    [InlineData(486.1363, 486.2721)]
    [InlineData(199.9353, 200.0)]
    public void Air_and_vacuum_wavelengths(double air, double vacuum)
    {
        Assert.Equal(vacuum, AirIndex.AirToVacuum(air), 1e-4);
        Assert.Equal(air, AirIndex.VacuumToAir(vacuum), 1e-4);
        Assert.Equal(air, AirIndex.VacuumToAir(AirIndex.AirToVacuum(air)), 1e-10);
    }

    [Theory] // Reader 2004, Appl. Spectrosc. 58, 1469: air values; vacuum values 656.461, 486.268, 434.168, 410.289
    [InlineData(656.280, 656.461)]
    [InlineData(486.133, 486.268)]
    [InlineData(434.047, 434.168)]
    [InlineData(410.174, 410.289)]
    public void Balmer_lines(double air, double vacuum) => Assert.Equal(vacuum, AirIndex.AirToVacuum(air), 0.0015);

    [Fact] // recomputed from Ciddor 1996
    public void Ciddors_refractivity()
    {
        Assert.Equal(2.78973e-4, AirIndex.Refractivity(500, AirFormula.Ciddor), 1e-9);
        Assert.Equal(2.76533e-4, AirIndex.Refractivity(632.8, AirFormula.Ciddor), 1e-9);
    }

    [Fact]
    public void The_direct_formula_agrees_with_the_iteration()
    {
        // Piskunov, in the VALD notes on air and vacuum; agrees with Morton to 1e-5 nm
        for (double air = 380; air <= 900; air += 20)
        {
            double s2 = 1e6 / (air * air);
            double n = 1 + 8.336624212083e-5 + (0.02408926869968 / (130.1065924522 - s2)) + (1.599740894897e-4 / (38.92568793293 - s2));
            Assert.Equal(air * n, AirIndex.AirToVacuum(air), 1e-5);
        }
    }

    [Fact]
    public void Three_formulas_agree()
    {
        for (double nm = 400; nm <= 850; nm += 25)
        {
            double morton = AirIndex.VacuumToAir(nm);
            Assert.Equal(morton, AirIndex.VacuumToAir(nm, AirFormula.Ciddor), 2.5e-5);
            Assert.Equal(morton, AirIndex.VacuumToAir(nm, AirFormula.Edlen), 2.5e-5);
        }
    }

    [Fact] // grating equation at normal incidence, 550 nm (Palmer, "Diffraction Grating Handbook")
    public void Diffraction_angle()
    {
        Assert.Equal(3.1529, new Grating(100, 50).DiffractionAngleDeg(550), 1e-4);
        Assert.Equal(6.3153, new Grating(200, 50).DiffractionAngleDeg(550), 1e-4);
    }

    [Theory] // Schroeder; Palmer: sagittal depth short by d'(1 - cos b), mm; tolerance 1e-3 mm
    [InlineData(100, 400, 0.040)]
    [InlineData(100, 550, 0.076)]
    [InlineData(100, 700, 0.123)]
    [InlineData(200, 400, 0.160)]
    [InlineData(200, 550, 0.303)]
    [InlineData(200, 700, 0.492)]
    public void Focus_error_in_a_converging_beam(double lines, double nm, double mm)
    {
        var grating = new Grating(lines, 50);
        Assert.Equal(mm, grating.SagittalShorteningUm(nm) / 1000, 1e-3);
        Assert.InRange(grating.TangentialShorteningUm(nm) / grating.SagittalShorteningUm(nm), 2.9, 3.0); // 1 - cos^3 b = 3 (1 - cos b) to first order
    }

    [Fact] // Buil, notes on slitless spectrographs: 4752 A/mm with cos b, 4732 A/mm exact; R = 525
    public void Dispersion_and_resolving_power()
    {
        var grating = new Grating(100, 21);
        Assert.Equal(473.2, grating.DispersionNmPerMm(650), 0.1);
        Assert.Equal(525, grating.ResolvingPower(4), 1e-9);
        Assert.Equal(650, grating.WavelengthAtNm(grating.PositionMm(650)), 1e-9);
        double numeric = 0.002 / (grating.PositionMm(650.001) - grating.PositionMm(649.999));
        Assert.Equal(numeric, grating.DispersionNmPerMm(650), 1e-4);
    }

    [Fact] // m1 L1 = m2 L2
    public void Second_order_of_400_falls_on_first_order_of_800() =>
        Assert.Equal(new Grating(200, 30).PositionMm(800), new Grating(200, 30, 0, 2).PositionMm(400), 1e-12);

    [Fact]
    public void An_order_that_does_not_exist_is_refused() =>
        Assert.Equal("grating.no-order", Assert.Throws<InputException>(() => new Grating(2000, 30).PositionMm(800)).Code);
}
