using StarAssay.Engine.Measurements.ColorFocus;
using StarAssay.Engine.Optics;
using Xunit;

namespace StarAssay.Engine.Tests.Measurements.ColorFocus;

public class NeighborLightTests
{
    [Theory]
    [InlineData(67, 33)]
    [InlineData(137, 90)]
    public void A_colors_image_holds_its_light_and_no_sky_far_from_it(int rows, int reach)
    {
        // Closed form: the Hankel transform of exp(-2 pi^2 s^2 f^2) is exp(-r^2 / 2 s^2) / (2 pi s^2).
        const double Width = 4;
        var table = new HankelTable(new ProfileGrid(-(rows / 2), rows, 2 * rows), reach);
        var plan = new ImagePlan(table, reach);
        double[] factors = [.. table.Frequency.Select(f => f * Math.Exp(-2 * Math.PI * Math.PI * Width * Width * f * f))];
        double[] quarter = plan.Quarter(factors);
        double unit = 2 * Math.PI * table.Frequency[0], top = 1 / (2 * Math.PI * Width * Width), whole = 0;
        for (int d = 0; d <= reach; d++)
        {
            for (int h = 0; h < plan.Half; h++)
            {
                double r2 = (d * d) + (h * h), found = unit * quarter[(d * plan.Half) + h];
                // A table of half pixels with lines between: an eighth of the square of its step times the bend.
                Assert.Equal(top * Math.Exp(-r2 / (2 * Width * Width)), found, top * (r2 > 36 * Width * Width ? 1e-5 : 0.004));
                whole += found * (d == 0 ? 1 : 2) * (h == 0 ? 1 : 2);
            }
        }

        Assert.Equal(1, whole, 0.003);
    }

    [Fact]
    public void Beyond_the_measured_colors_a_lens_goes_on_as_it_bends()
    {
        // Thin lenses of catalogue glass, the curve known from 430 to 700 nm only.
        GlassLens lens = GlassLens.Doublet(GlassCatalog.Find("N-BK7"), GlassCatalog.Find("F2"));
        double At(double w) => lens.FocusShiftUm(w, 1000, 550);
        double[] nm = [.. Enumerable.Range(0, 80).Select(i => 430 + (270.0 * i / 79))], truth = [.. nm.Select(At)];
        var basis = new SplineBasis(nm[0], nm[^1]);
        double[] c = SplineSmoother.Fit(basis, nm, truth, [.. nm.Select(_ => 0.5)]).Coefficients;
        foreach (double w in new[] { 400.0, 415, 425, 720 })
        {
            double held = At(w > 550 ? 700 : 430);
            Assert.True(Math.Abs(SplineBasis.Dot(basis.Continued(w), c) - At(w)) < 0.1 * Math.Abs(held - At(w)), $"{w} nm");
        }

        foreach (double w in new[] { 430.0, 500, 700 })
        {
            Assert.Equal(SplineBasis.Dot(basis.At(w), c), SplineBasis.Dot(basis.Continued(w), c), 1e-9);
        }
    }
}
