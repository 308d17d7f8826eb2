using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>Stars narrower than the pixels carry well: truth is what was drawn.</summary>
public class SmallStarTests
{
    // A Gaussian of a pixel's width is no Moffat profile: that much may be left of the place in the pixel (the moments alone leave 0.02).
    private const double Profile = 0.0015;

    [Theory]
    [InlineData(0.5, 0.5)]
    [InlineData(0.6, 0.5)]
    [InlineData(0.55, 0.65)]
    public void The_place_in_the_pixel_shows_neither_in_center_nor_in_shape(double sigmaX, double sigmaY)
    {
        var sky = new TestSky(3, 12, sigmaX, sigmaY);
        StarField field = StarMeasurement.Measure(new StarRequest { Frame = sky.Frame, FitProfiles = ProfileFits.None }, new RunContext(1));
        double pulls = 0, worst = 0, stretch = 0;
        foreach ((double x, double y, double flux) in sky.Stars)
        {
            int k = Enumerable.Range(0, field.X.Length).MinBy(i => Square(field.X[i] - x) + Square(field.Y[i] - y));
            double dx = field.X[k] - x, dy = field.Y[k] - y;
            pulls += ((dx * dx / (Square(field.XUncertainty[k]) + Square(Profile))) + (dy * dy / (Square(field.YUncertainty[k]) + Square(Profile)))) / (2 * sky.Stars.Count);
            worst = Math.Max(worst, Math.Max(Math.Abs(dx), Math.Abs(dy)));
            double angle = field.PositionAngleDeg[k] * Math.PI / 90;
            stretch += field.Ellipticity[k] * Math.Cos(angle) / sky.Stars.Count;
        }

        // 30 stars, two coordinates each: the root of the mean square is known to 9 %. SNR is 80 to 1500.
        Assert.InRange(Math.Sqrt(pulls), 0.7, 1.3);
        Assert.InRange(worst, 0, 0.03);
        Assert.Equal(Math.Sign(sigmaX - sigmaY) * (1 - (Math.Min(sigmaX, sigmaY) / Math.Max(sigmaX, sigmaY))), stretch, 0.006);
    }

    private static double Square(double x) => x * x;
}
