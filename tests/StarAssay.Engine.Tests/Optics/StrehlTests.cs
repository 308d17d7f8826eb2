using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>
/// Strehl ratio. Mahajan 1982 (J. Opt. Soc. Am. 72, 1258) and Born and Wolf ch. 9 for the primary aberrations; the digits
/// are the pupil integral in arbitrary precision. Marechal 1947 for the squared form.
/// </summary>
public class StrehlTests
{
    private static readonly Dictionary<string, Func<double, double, double>> Shapes = new()
    {
        ["defocus"] = (r, t) => r * r,
        ["spherical"] = (r, t) => r * r * r * r,
        ["spherical-best"] = (r, t) => (r * r * r * r) - (r * r),
        ["coma"] = (r, t) => r * r * r * Math.Cos(t),
        ["coma-best"] = (r, t) => ((r * r * r) - (2 * r / 3)) * Math.Cos(t),
        ["astigmatism-line"] = (r, t) => r * r * Math.Cos(t) * Math.Cos(t),
        ["astigmatism-best"] = (r, t) => 0.5 * r * r * Math.Cos(2 * t),
    };

    [Theory]
    [InlineData("defocus", 3.4641)]
    [InlineData("spherical", 3.3541)]
    [InlineData("spherical-best", 13.4164)]
    [InlineData("coma", 2.8284)]
    [InlineData("coma-best", 8.4853)]
    [InlineData("astigmatism-line", 4)]
    [InlineData("astigmatism-best", 4.8990)]
    public void Rms_of_the_primary_aberrations(string shape, double divisor) =>
        Assert.Equal(divisor, 1 / Strehl.RmsOfFunction(Shapes[shape]), 4);

    [Theory]
    [InlineData("defocus", 0.25, 0.072169, 0.810569)]
    [InlineData("spherical", 0.25, 0.074536, 0.800305)]
    [InlineData("spherical-best", 1.0, 0.074536, 0.800305)]
    [InlineData("coma-best", 0.375, 0.044194, 0.925567)]
    [InlineData("astigmatism-best", 0.25, 0.051031, 0.902064)]
    [InlineData("astigmatism-line", 0.25, 0.0625, 0.857182)]
    [InlineData("defocus", 0.25752, double.NaN, 0.80)]
    [InlineData("spherical", 0.25021, double.NaN, 0.80)]
    [InlineData("spherical-best", 1.00084, double.NaN, 0.80)]
    [InlineData("coma-best", 0.63504, double.NaN, 0.80)]
    [InlineData("astigmatism-best", 0.36732, double.NaN, 0.80)]
    public void Quarter_wave_and_four_fifths(string shape, double coefficient, double rms, double strehl)
    {
        Func<double, double, double> unit = Shapes[shape];
        if (!double.IsNaN(rms))
        {
            Assert.Equal(rms, coefficient * Strehl.RmsOfFunction(unit), 6);
        }

        Assert.Equal(strehl, Strehl.FromFunction((r, t) => coefficient * unit(r, t)), 1e-5);
    }

    [Theory]
    [InlineData(0.05, 0.90512, 0.90539, 0.90566, 0.90580)]
    [InlineData(0.0714286, 0.81413, 0.81520, 0.81620, 0.81676)]
    [InlineData(0.10, 0.66255, 0.66639, 0.66942, 0.67132)]
    [InlineData(0.15, 0.37384, 0.38996, 0.39721, 0.40428)]
    [InlineData(0.20, 0.14265, 0.18164, 0.18285, 0.19701)]
    [InlineData(0.25, 0.02255, 0.08938, 0.06103, 0.07963)]
    public void Exact_values_at_equal_rms(double rms, params double[] expected)
    {
        string[] shapes = ["defocus", "spherical-best", "coma-best", "astigmatism-best"];
        for (int i = 0; i < shapes.Length; i++)
        {
            Func<double, double, double> unit = Shapes[shapes[i]];
            double scale = rms / Strehl.RmsOfFunction(unit);
            Assert.Equal(expected[i], Strehl.FromFunction((r, t) => scale * unit(r, t)), 1e-5);
        }
    }

    [Theory]
    [InlineData(10, 0.67383, 0.64418, 0.60522)]
    [InlineData(12, 0.76021, 0.74464, 0.72584)]
    [InlineData(13.4, 0.80263, 0.79222, 0.78014)]
    [InlineData(14, 0.81757, 0.80872, 0.79858)]
    [InlineData(16, 0.85709, 0.85173, 0.84579)]
    [InlineData(20, 0.90602, 0.90374, 0.90130)]
    [InlineData(28, 0.95089, 0.95028, 0.94965)]
    [InlineData(36, 0.97000, 0.96977, 0.96954)]
    [InlineData(40, 0.97563, 0.97548, 0.97533)]
    [InlineData(50, 0.98433, 0.98427, 0.98421)]
    public void Three_approximations(double divisor, double exponential, double squared, double linear)
    {
        // One unit of the last printed digit.
        Assert.Equal(exponential, Strehl.Exponential(1 / divisor), 1e-5);
        Assert.Equal(squared, Strehl.MarechalBound(1 / divisor), 1e-5);
        Assert.Equal(linear, Strehl.Linear(1 / divisor), 1e-5);
    }

    [Fact]
    public void The_bound_does_not_rise_again() => Assert.True(double.IsNaN(Strehl.MarechalBound(0.25)));

    [Fact]
    public void Sampled_pupil_agrees_with_the_integral()
    {
        // Points uniform in rho^2 and theta carry equal weight; a NaN outside and a zero weight must not count.
        var map = new List<double>();
        var weights = new List<double>();
        for (int i = 0; i < 200; i++)
        {
            for (int k = 0; k < 64; k++)
            {
                map.Add(550 * 0.25 * ((i + 0.5) / 200));
                weights.Add(1);
            }
        }

        map.AddRange([double.NaN, 1e5]);
        weights.AddRange([1, 0]);
        Assert.Equal(0.810569, Strehl.FromPupil([.. map], [.. weights], 550), 1e-5);
        Assert.Equal(550 * 0.072169, Strehl.Rms([.. map], [.. weights]), 1e-2);
    }

    [Fact]
    public void Piston_does_not_matter_and_shapes_must_agree()
    {
        double[] map = [10, -20, 35, 4];
        double[] lifted = [.. map.Select(w => w + 1234.5)];
        Assert.Equal(Strehl.FromPupil(map, [], 500), Strehl.FromPupil(lifted, [], 500), 10);
        Assert.Equal(Strehl.Rms(map, []), Strehl.Rms(lifted, []), 10);
        Assert.Throws<InputException>(() => Strehl.FromPupil(map, new double[] { 1, 1 }, 500));
        Assert.Throws<InputException>(() => Strehl.FromPupil(map, new double[4], 500));
    }
}
