using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>Defocus: Welford (Aberrations of Optical Systems), Born and Wolf ch. 8.8, Smith (Modern Optical Engineering).</summary>
public class DefocusTests
{
    [Theory]
    [InlineData(5, 27.5)]
    [InlineData(5.5, 33.275)]
    [InlineData(7, 53.9)]
    [InlineData(10, 110)]
    [InlineData(15, 247.5)]
    public void Depth_of_focus(double ratio, double um)
    {
        Assert.Equal(um, Defocus.DepthOfFocusUm(550, ratio), 9);

        // By Rayleigh's rule that shift is a quarter wave.
        Assert.Equal(550.0 / 4, Defocus.WavefrontNm(um, ratio), 9);
    }

    [Fact]
    public void One_wave_and_back()
    {
        Assert.Equal(215.6, Defocus.ShiftUm(550, 7), 9);
        Assert.Equal(-0.75 * 550, Defocus.WavefrontNm(Defocus.ShiftUm(-0.75 * 550, 6.6), 6.6), 9);
        Assert.Equal(1 / (2 * Math.Sqrt(3)), Defocus.ZernikeOf(1), 12);
    }

    [Theory]
    [InlineData(0.25, 0.810569)]
    [InlineData(0.5, 0.405285)]
    [InlineData(0.75, 0.090063)]
    [InlineData(1, 0)]
    [InlineData(1.5, 0.045032)]
    [InlineData(2.5, 0.016211)]
    [InlineData(3.5, 0.008271)]
    public void Strehl_under_defocus(double waves, double strehl)
    {
        Assert.Equal(strehl, Defocus.StrehlRatio(waves), 6);
        Assert.Equal(strehl, Strehl.FromFunction((r, t) => waves * r * r), 6);
        Assert.Equal(Strehl.FromFunction((r, t) => waves * r * r, 0.33), Defocus.StrehlRatio(waves, 0.33), 10);
    }

    [Theory]
    [InlineData(0.25, 0.8389, 0.6586, 0.5016, 0.3794, 0.2875, 0.2153, 0.1525, 0.0924, 0.0360)]
    [InlineData(0.5, 0.7421, 0.4348, 0.2293, 0.1257, 0.0846, 0.0741, 0.0728, 0.0627, 0.0322)]
    public void Modulation_under_defocus(double waves, params double[] table)
    {
        for (int i = 0; i < table.Length; i++)
        {
            Assert.Equal(table[i], Defocus.Mtf(0.1 * (i + 1), waves), 1e-4);
            Assert.Equal(Airy.Mtf(0.1 * (i + 1)), Defocus.Mtf(0.1 * (i + 1), 0), 9);
        }
    }

    [Fact]
    public void Blur_disc()
    {
        // N = 7: half-flux radius 0.05051 for each unit of shift; blur over Airy diameter 3.28 W.
        Assert.Equal(0.05051, Defocus.HalfFluxRadius(1, 7), 5);
        double shift = Defocus.ShiftUm(8 * 550, 7);
        Assert.Equal(26.23, Defocus.BlurDiameter(shift, 7) / (2 * 1.21967 * 0.55 * 7), 0.01);
        Assert.Equal(Math.Sqrt(1.25 / 2) * 4, Defocus.HalfFluxRadius(-56, 7, 0.5), 12);
    }

    [Fact]
    public void Astigmatism_and_spherical_aberration_along_the_axis()
    {
        Assert.Equal(8 * 49 * 0.1, Defocus.AstigmaticDifferenceUm(100, 7), 9);
        Assert.Equal(16 * 49 * 0.1, Defocus.LongitudinalSphericalUm(100, 7), 9);
    }
}
