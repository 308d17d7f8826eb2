using StarAssay.Engine.Optics;
using Xunit;

namespace StarAssay.Engine.Tests.Optics;

public class DefocusTransferTests
{
    // Clear circle at W020 = 0, 1/4 and 1/2 wave, v = 0.1 to 0.9: Goodman, "Introduction to Fourier Optics", and values
    // recomputed by an independent pupil integral; tolerance 5e-4 for the printed four digits and the table.
    [Theory]
    [InlineData(0.0, 0.872889, 0.747060, 0.623838, 0.504632, 0.391002, 0.284757, 0.188120, 0.104088, 0.037386)]
    [InlineData(0.25, 0.8389, 0.6586, 0.5016, 0.3794, 0.2875, 0.2153, 0.1525, 0.0924, 0.0360)]
    [InlineData(0.5, 0.7421, 0.4348, 0.2293, 0.1257, 0.0846, 0.0741, 0.0728, 0.0627, 0.0322)]
    public void Clear_circle(double waves, params double[] expected)
    {
        DefocusTransfer otf = DefocusTransfer.For(0);
        for (int i = 0; i < 9; i++)
        {
            Assert.Equal(expected[i], otf.At((i + 1) / 10.0, waves, out _), 5e-4);
        }
    }

    [Theory] // O'Neill 1956, J. Opt. Soc. Am. 46, 285; recomputed from the overlap of two annuli
    [InlineData(0.20, 0.8422, 0.6949, 0.5665, 0.4423, 0.3674, 0.2966, 0.1960, 0.1084, 0.0389)]
    [InlineData(0.33, 0.8109, 0.6280, 0.4596, 0.3610, 0.3252, 0.2893, 0.2111, 0.1168, 0.0420)]
    [InlineData(0.50, 0.7462, 0.4976, 0.3059, 0.2414, 0.2236, 0.2353, 0.2221, 0.1388, 0.0499)]
    public void Annulus(double obstruction, params double[] expected)
    {
        DefocusTransfer otf = DefocusTransfer.For(obstruction);
        for (int i = 0; i < 9; i++)
        {
            Assert.Equal(expected[i], otf.At((i + 1) / 10.0, 0, out _), 1e-3);
        }
    }

    [Fact]
    public void Table_follows_its_definition_and_its_slope()
    {
        foreach (double e in new[] { 0, 0.33 })
        {
            DefocusTransfer otf = DefocusTransfer.For(e);
            foreach (double v in new[] { 0.003, 0.017, 0.05, 0.11, 0.23, 0.41, 0.77 })
            {
                foreach (double w in new[] { 0.03, 0.4, 1.7, 5.3, 12.9, 40.2 })
                {
                    double exact = DefocusTransfer.Exact(e, v, w);
                    if (w * v * (1 - v) < 11.9)
                    {
                        Assert.Equal(exact, otf.At(v, w, out double slope), 1e-3);
                        double numeric = (DefocusTransfer.Exact(e, v, w + 1e-4) - DefocusTransfer.Exact(e, v, w - 1e-4)) / 2e-4;
                        Assert.Equal(numeric, slope, 0.02 * Math.Max(0.3, Math.Abs(numeric)));
                        Assert.Equal(-slope, Slope(otf, v, -w), 1e-12);
                    }
                }
            }
        }

        static double Slope(DefocusTransfer otf, double v, double w)
        {
            otf.At(v, w, out double slope);
            return slope;
        }
    }

    [Fact]
    public void Far_out_of_focus_it_is_the_geometric_disc()
    {
        // 2 J1(x)/x with x = 8 pi W v: first zero at x = 3.83171 (disc of diameter 8 W lambda N)
        DefocusTransfer otf = DefocusTransfer.For(0);
        double v = 3.83171 / (8 * Math.PI * 30);
        Assert.Equal(0, otf.At(v, 30, out _), 0.01);
        Assert.True(otf.At(0.8 * v, 30, out _) > 0.1);
        Assert.True(otf.At(1.2 * v, 30, out _) < -0.05);
    }
}
