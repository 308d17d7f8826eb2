using StarAssay.Engine.Decisions;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Decisions;

/// <summary>Truth: closed forms of optics; the wording is checked for what it must say.</summary>
public class AdvisorTests
{
    private static AdviceRequest Request(TelescopeDesign design, params (int Noll, double C, double U)[] modes) => new()
    {
        Design = design,
        ApertureMm = 200,
        FocalLengthMm = 1000,
        WavelengthNm = 550,
        Noll = [.. modes.Select(m => m.Noll)],
        CoefficientsNm = [.. modes.Select(m => m.C)],
        UncertaintiesNm = [.. modes.Select(m => m.U)],
    };

    /// <summary>A paraboloid f/5, 200 mm: tangential coma 3 t/(16 N^2) (handbook formula, from memory). At 3 mm off the axis
    /// t = 0.003 rad and the coma is 2.25e-5 rad; with W131 r^3 the edge ray is off by 3 W131/(D/2), so W131 = 750 nm, which is
    /// 750/(3 sqrt 8) = 88.4 nm RMS. The advice must find the 3 mm again.</summary>
    [Fact]
    public void Newtonian_coma_tells_the_distance_of_the_axis()
    {
        double w131 = 3 * 0.003 / (16.0 * 25) * (200e6 / 2) / 3;
        Assert.Equal(750, w131, 9);
        AdviceReport r = Advisor.Advise(Request(TelescopeDesign.Newtonian, (7, 0, 2), (8, w131 / (3 * Math.Sqrt(8)), 2)));
        Advice coma = Assert.Single(r.Advice);
        // The noise taken off is sqrt(88.4^2 - 8) = 88.35: 0.05 %.
        Assert.Equal(3.0, coma.Amount.Value, 0.003);
        Assert.Equal("mm", coma.Amount.Unit);
        Assert.Equal(Hands.User, coma.Hands);
    }

    [Theory]
    [InlineData(8, 7, "coma", 30, 1)]
    [InlineData(6, 5, "astigmatism", 30, 2)]
    [InlineData(10, 9, "trefoil", 30, 3)]
    public void Directions_are_those_of_the_angular_term(int cosine, int sine, string name, double degrees, int fold)
    {
        double angle = degrees * fold * Math.PI / 180;
        AdviceReport r = Advisor.Advise(Request(TelescopeDesign.Refractor, (cosine, 20 * Math.Cos(angle), 1), (sine, 20 * Math.Sin(angle), 1)));
        AberrationFamily f = Assert.Single(r.Families);
        Assert.Equal(name, f.Name);
        Assert.Equal(degrees, f.DirectionDeg.Value, 9);
        // Small angles: u/size/fold.
        Assert.Equal(180 / Math.PI / 20 / fold, f.DirectionDeg.Uncertainty, 9);
    }

    [Fact]
    public void What_noise_can_explain_gets_no_advice()
    {
        AdviceReport r = Advisor.Advise(Request(TelescopeDesign.Refractor, (7, 4, 4), (8, 4, 4), (11, 3, 4)));
        Assert.Contains("leave the optics as they are", Assert.Single(r.Advice).Text, StringComparison.Ordinal);
    }

    [Fact]
    public void Lens_cells_are_left_to_the_optician()
    {
        AdviceReport r = Advisor.Advise(Request(TelescopeDesign.Refractor, (7, 30, 2), (8, 4, 2)));
        Assert.Equal(Hands.Optician, Assert.Single(r.Advice).Hands);
    }

    [Theory]
    [InlineData(20, "undercorrection")]
    [InlineData(-20, "overcorrection")]
    public void Sign_of_spherical_aberration_is_told_as_the_conventions_have_it(double c, string word) =>
        Assert.Contains(word, Assert.Single(Advisor.Advise(Request(TelescopeDesign.Refractor, (11, c, 1))).Advice).Text, StringComparison.Ordinal);

    /// <summary>Airy pattern: FWHM 1.029 lambda/D, for 550 nm and 100 mm 1.167 arcsec; square pixel: side/sqrt(12) sigma.</summary>
    [Fact]
    public void Blur_parts_add_up_in_quadrature()
    {
        AdviceReport r = Advisor.Advise(new AdviceRequest
        {
            ApertureMm = 100,
            FocalLengthMm = 700,
            Strehl = 0.8,
            StarFwhmArcsec = 3,
            StarFwhmUncertainty = 0.05,
            SeeingFwhmArcsec = 2.4,
            SeeingFwhmUncertainty = 0.1,
            PixelArcsec = 1,
        });
        Dictionary<string, double> parts = r.Blur.ToDictionary(p => p.Name, p => p.FwhmArcsec.Value);
        Assert.Equal(1.167, parts["diffraction"], 0.001);
        Assert.Equal(1.167 / 2, parts["optics"], 0.001);
        Assert.Equal(2.3548 / Math.Sqrt(12), parts["pixels"], 0.001);
        Assert.Equal(9, parts.Values.Sum(p => p * p), 9);
        Assert.Equal("seeing", r.LimitedBy);
        Assert.Empty(r.Notes);
    }

    [Fact]
    public void More_blur_explained_than_seen_is_said()
    {
        AdviceReport r = Advisor.Advise(new AdviceRequest { ApertureMm = 100, FocalLengthMm = 700, StarFwhmArcsec = 2, StarFwhmUncertainty = 0.05, SeeingFwhmArcsec = 3, SeeingFwhmUncertainty = 0.1 });
        Assert.Equal("advice.blur-mismatch", Assert.Single(r.Notes).Code);
    }

    [Fact]
    public void Without_a_star_field_the_limit_is_not_known() =>
        Assert.Equal(string.Empty, Advisor.Advise(Request(TelescopeDesign.Refractor, (11, 20, 1))).LimitedBy);
}
