using CsCheck;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>
/// The perfect aperture against published numbers. Airy 1835, Rayleigh 1881 and Born and Wolf ch. 8 give the formulas of the
/// clear circle; FWHM and half-flux radius are constants of the GalSim project's own tests; the annular tables were
/// recomputed from Mahajan's and O'Neill's formulas in arbitrary precision.
/// </summary>
public class AiryTests
{
    [Theory]
    [InlineData(1, 1.219670, 0.837785)]
    [InlineData(2, 2.233131, 0.909931)]
    [InlineData(3, 3.238315, 0.937648)]
    [InlineData(4, 4.241063, 0.952319)]
    [InlineData(5, 5.242764, double.NaN)]
    public void Dark_rings_and_light_within_them(int n, double radius, double share)
    {
        Assert.Equal(radius, Airy.DarkRing(n), 1e-6);
        if (!double.IsNaN(share))
        {
            Assert.Equal(share, Airy.EncircledEnergy(Airy.DarkRing(n)), 1e-6);
        }
    }

    [Theory]
    [InlineData(1, 1.634719, 0.017498)]
    [InlineData(2, 2.679292, 0.004158)]
    [InlineData(3, 3.698710, 0.001601)]
    [InlineData(4, 4.709698, 0.000779)]
    public void Bright_rings(int n, double radius, double height)
    {
        (double r, double h) = Airy.BrightRing(n);
        Assert.Equal(radius, r, 5);
        Assert.Equal(height, h, 6);
    }

    [Fact]
    public void Widths_of_the_clear_aperture()
    {
        // Constants in the GalSim project's unit tests of the Airy profile.
        Assert.Equal(1.028993969962188, Airy.Fwhm(), 9);
        Assert.Equal(0.5348321477242647, Airy.EncircledRadius(), 9);
        Assert.Equal(0.519762, Airy.EncircledRadius() / Airy.Fwhm(), 6);
    }

    [Theory]
    [InlineData(1, 0.826431)]
    [InlineData(2, 0.906372)]
    [InlineData(3, 0.935931)]
    [InlineData(5, 0.960740)]
    [InlineData(10, 0.980056)]
    public void Encircled_energy_at_round_radii(double radius, double share) =>
        Assert.Equal(share, Airy.EncircledEnergy(radius), 1e-6);

    [Theory]
    [InlineData(0.1, 0.872889)]
    [InlineData(0.2, 0.747060)]
    [InlineData(0.3, 0.623838)]
    [InlineData(0.4, 0.504632)]
    [InlineData(0.5, 0.391002)]
    [InlineData(0.6, 0.284757)]
    [InlineData(0.7, 0.188120)]
    [InlineData(0.8, 0.104088)]
    [InlineData(0.9, 0.037386)]
    [InlineData(0.403973, 0.5)]
    [InlineData(0.805384, 0.1)]
    public void Modulation_of_the_clear_aperture(double fraction, double mtf)
    {
        Assert.Equal(mtf, Airy.Mtf(fraction), 1.1e-6);

        // Goodman's form, independent of the overlap of circles.
        double goodman = 2 / Math.PI * (Math.Acos(fraction) - (fraction * Math.Sqrt(1 - (fraction * fraction))));
        Assert.Equal(goodman, Airy.Mtf(fraction), 12);
    }

    [Fact]
    public void Modulation_starts_with_the_known_slope() =>
        Assert.Equal(-4 / Math.PI, (Airy.Mtf(1e-5) - 1) / 1e-5, 4);

    [Fact]
    public void Line_and_edge()
    {
        Assert.Equal(8 / (3 * Math.PI), Airy.LineSpread(0), 6);
        double half = MathNet.Numerics.RootFinding.Brent.FindRoot(d => Airy.LineSpread(d) - (Airy.LineSpread(0) / 2), 0.2, 0.9, 1e-9);
        Assert.Equal(1.00166, 2 * half, 1e-4);
        Assert.Equal(1.33287, Airy.EdgeWidth(0.1, 0.9), 1e-4);
        Assert.Equal(2.70704, Airy.EdgeWidth(0.05, 0.95), 1e-4);
    }

    [Theory]
    [InlineData(0.10, 1.20506, 1.02328, 0.81842, 0.81842, 0.02056)]
    [InlineData(0.20, 1.16651, 1.00675, 0.76376, 0.76392, 0.03035)]
    [InlineData(0.25, 1.14157, 0.99494, 0.72577, 0.72630, 0.03803)]
    [InlineData(0.30, 1.11452, 0.98111, 0.68237, 0.68375, 0.04751)]
    [InlineData(0.33, 1.09768, 0.97198, 0.65426, 0.65650, 0.05397)]
    [InlineData(0.35, 1.08631, 0.96558, 0.63483, 0.63781, 0.05854)]
    [InlineData(0.40, 1.05767, 0.94864, 0.58434, 0.58994, 0.07071)]
    [InlineData(0.50, 1.00091, 0.91167, 0.47862, 0.49300, 0.09634)]
    public void Annular_aperture(double e, double dark, double fwhm, double share, double shareAtClearRing, double ring)
    {
        Assert.Equal(dark, Airy.DarkRing(1, e), 5);
        Assert.Equal(fwhm, Airy.Fwhm(e), 5);
        Assert.Equal(share, Airy.EncircledEnergy(Airy.DarkRing(1, e), e), 5);
        Assert.Equal(shareAtClearRing, Airy.EncircledEnergy(Airy.DarkRing(1), e), 5);
        Assert.Equal(ring, Airy.BrightRing(1, e).Height, 5);
    }

    [Theory]
    [InlineData(0.20, 0.8422, 0.6949, 0.5665, 0.4423, 0.3674, 0.2966, 0.1960, 0.1084, 0.0389)]
    [InlineData(0.33, 0.8109, 0.6280, 0.4596, 0.3610, 0.3252, 0.2893, 0.2111, 0.1168, 0.0420)]
    [InlineData(0.40, 0.7887, 0.5829, 0.3892, 0.3067, 0.2912, 0.2737, 0.2240, 0.1239, 0.0445)]
    [InlineData(0.50, 0.7462, 0.4976, 0.3059, 0.2414, 0.2236, 0.2353, 0.2221, 0.1388, 0.0499)]
    public void Annular_modulation(double e, params double[] table)
    {
        for (int i = 0; i < table.Length; i++)
        {
            Assert.Equal(table[i], Airy.Mtf(0.1 * (i + 1), e), 1e-4);
        }
    }

    [Fact]
    public void Beyond_the_hole_the_annulus_is_a_clear_aperture_scaled() =>
        Gen.Double[0.05, 0.8].SelectMany(e => Gen.Double[((1 + e) / 2) + 1e-9, 1].Select(v => (e, v))).Sample(
            p => Math.Abs(Airy.Mtf(p.v, p.e) - (Airy.Mtf(p.v) / (1 - (p.e * p.e)))) < 1e-12,
            iter: 300);

    [Fact]
    public void Light_grows_with_radius_and_stays_below_all() =>
        Gen.Select(Gen.Double[0, 0.6], Gen.Double[0.01, 8], Gen.Double[0.001, 1]).Sample(
            p =>
            {
                double inner = Airy.EncircledEnergy(p.Item2, p.Item1);
                double outer = Airy.EncircledEnergy(p.Item2 + p.Item3, p.Item1);
                return inner >= -1e-12 && outer >= inner - 1e-12 && outer < 1;
            },
            iter: 200);
}
