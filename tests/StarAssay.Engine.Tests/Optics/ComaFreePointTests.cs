using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>Where coma vanishes: closed forms, and bounds against drawing.</summary>
public class ComaFreePointTests
{
    /// <summary>Sensor of 20 x 20 mm, 2000 pixels along a side.</summary>
    private static ComaFreePoint Of(double a, double b, double s, double barA, double barS, Measured? known = null) =>
        ComaFreePoint.Of([a, b, s], Matrix<double>.Build.DenseDiagonal(3, 3, k => k < 2 ? barA * barA : barS * barS), 2000, 2000, 10, known);

    [Fact]
    public void Place_and_bars_are_those_of_a_ratio()
    {
        // (a, b) = (30, -40) and s = -20: at (1.5, -2) mm. Along it (bar A / s and bar S r / s), across it bar A / s alone.
        ComaFreePoint p = Of(30, -40, -20, 0.4, 0.8);
        Assert.Equal(ComaFreeVerdict.Told, p.Verdict);
        Assert.Equal((1500, -2000), (p.X.Value, p.Y.Value));
        Assert.Equal(999.5 + 150, p.Column.Value, 9);
        Assert.Equal(999.5 - 200, p.Row.Value, 9);
        Assert.Equal(1000 * Math.Sqrt((0.4 * 0.4) + (2.5 * 2.5 * 0.8 * 0.8)) / 20, p.EllipseLongUm, 6);
        Assert.Equal(1000 * 0.4 / 20, p.EllipseShortUm, 6);
        Assert.Equal(Math.Atan2(-40, 30) * 180 / Math.PI, p.Direction.Value, 6);
        Assert.Equal(p.Direction.Value, p.EllipseAngleDeg, 6);
        Assert.Equal(p.EllipseLongUm, p.Distance.Uncertainty, 6);
        Assert.Equal(1, p.Distance.Value / 2500, 0.001);
        Assert.Equal(p.Distance.Value / (1000 * Math.Sqrt(200)), p.Share.Value, 9);
    }

    [Theory]
    [InlineData(30, -20, 0.5, ComaFreeVerdict.Told, false)]
    [InlineData(30, -20, 5, ComaFreeVerdict.NotTold, false)] // growth told by four only
    [InlineData(900, -20, 0.5, ComaFreeVerdict.Outside, false)] // 45 mm away
    [InlineData(60, 0.1, 0.5, ComaFreeVerdict.Outside, true)] // either way
    [InlineData(0.3, 0.1, 0.5, ComaFreeVerdict.NotTold, false)] // a corrected field
    public void What_is_told(double a, double s, double barS, ComaFreeVerdict verdict, bool eitherWay)
    {
        ComaFreePoint p = Of(a, 0, s, 1, barS);
        Assert.Equal(verdict, p.Verdict);
        Assert.Equal(eitherWay, p.EitherWay);
        Assert.Equal(verdict == ComaFreeVerdict.Told, double.IsFinite(p.X.Value) && p.Reason.Length == 0);
        Assert.Equal(a > 3, p.AtLeastUm > 0);
    }

    /// <summary>Whatever the growth, a least distance exceeds the true one in no more than 5 % of the draws (and 3 standard deviations of counting).</summary>
    [Theory]
    [InlineData(-3)]
    [InlineData(-1.2)]
    [InlineData(0.4)]
    public void Least_distances_hold(double s)
    {
        const int Draws = 4000;
        var random = new Random(7);
        double Normal() => MathNet.Numerics.Distributions.Normal.Sample(random, 0, 1);
        int wrong = 0;
        for (int k = 0; k < Draws; k++)
        {
            ComaFreePoint p = Of(25 + Normal(), Normal(), s + (0.5 * Normal()), 1, 0.5);
            wrong += p.AtLeastUm > 25_000 / Math.Abs(s) ? 1 : 0;
        }

        Assert.InRange(wrong / (double)Draws, 0.0, 0.05 + (3 * Math.Sqrt(0.05 * 0.95 / Draws)));
    }

    [Fact]
    public void Theory_tells_what_the_stars_do_not()
    {
        // f/5: 1e6 / (32 x 125 x 3 sqrt 8) nm for each mm, flaring away from the axis.
        Measured theory = ComaFreePoint.ParaboloidSlope(5, 0.005);
        Assert.Equal(-1e6 / (4000 * Math.Sqrt(72)), theory.Value, 9);
        Assert.Equal(0.015 * Math.Abs(theory.Value), theory.Uncertainty, 9);
        Assert.Equal(ComaFreeVerdict.NotTold, Of(30, 0, -25, 1, 10).Verdict);
        ComaFreePoint p = Of(30, 0, -25, 1, 10, theory);
        Assert.Equal(ComaFreeVerdict.Told, p.Verdict);
        Assert.Equal(-30_000 / theory.Value, p.X.Value, 0.01 * p.X.Value);

        // A corrected field is no paraboloid's.
        ComaFreePoint other = Of(30, 0, -1, 1, 1, theory);
        Assert.Equal(ComaFreeVerdict.NotTold, other.Verdict);
        Assert.Contains("corrector", other.Reason, StringComparison.Ordinal);
        Assert.Equal(0, other.AtLeastUm);
    }
}
