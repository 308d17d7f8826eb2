using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>Stars on a raw color mosaic, by the pixels of one color. Truth: what was drawn, in pixels of the frame.</summary>
public class MosaicStarsTests
{
    [Theory]
    [InlineData("RGGB", MosaicColor.Green)]
    [InlineData("GBRG", MosaicColor.Green)]
    [InlineData("GRBG", MosaicColor.Red)]
    [InlineData("RGGB", MosaicColor.Blue)]
    public void Every_star_is_found_at_its_place_with_its_size(string pattern, MosaicColor color)
    {
        // An ellipse, long at 30 degrees from +x; every second pixel of every second row needs larger stars.
        double sigma = color == MosaicColor.Green ? 1.2 : 1.9, longer = sigma * 1.15, shorter = sigma / 1.15;
        var sky = new DrawnSky(41, 601);
        sky.Lattice(11, (_, _) => Ellipse(longer, shorter, 30), 30000, 500000);
        StarField field = Measure(sky, pattern, color);
        Assert.Equal((601, 601), (field.Width, field.Height));
        double[] pullsX = new double[sky.Stars.Count], pullsY = new double[sky.Stars.Count];
        for (int k = 0; k < pullsX.Length; k++)
        {
            (double x, double y, _) = sky.Stars[k];
            int at = Enumerable.Range(0, field.X.Length).MinBy(i => Math.Abs(field.X[i] - x) + Math.Abs(field.Y[i] - y));
            Assert.True(Math.Abs(field.X[at] - x) + Math.Abs(field.Y[at] - y) < 0.5, $"no star at {x:F2}, {y:F2}");
            Assert.Equal(0, field.Flags[at] & ~(int)StarMarks.Undersampled);
            (pullsX[k], pullsY[k]) = ((field.X[at] - x) / field.XUncertainty[at], (field.Y[at] - y) / field.YUncertainty[at]);
        }

        // 121 stars: the mean of as many pulls scatters by 0.09, their standard deviation by 0.06.
        foreach (double[] pulls in new[] { pullsX, pullsY })
        {
            double mean = pulls.Average(), scatter = Math.Sqrt(pulls.Average(p => (p - mean) * (p - mean)));
            Assert.InRange(mean, -0.4, 0.4);
            Assert.InRange(scatter, 0.75, 1.3);
        }

        // A round Gaussian has 1.17741 sigma.
        Assert.Equal(1.17741 * sigma * HalfLight(longer / sigma, shorter / sigma), field.MedianHfr.Value, 0.01 * sigma);
        Assert.Equal(1 - (shorter / longer), field.TypicalEllipticity.Value, 0.015);
        double angle = field.PositionAngleDeg.Order().ElementAt(field.X.Length / 2);
        Assert.Equal(30, angle, 1.0);
    }

    [Fact]
    [Trait("Compares", "bits")]
    public void A_frame_is_measured_the_same_however_often_and_by_however_many_threads()
    {
        // Green pixels leave the corners of their lattice missing; what these left in a search's memory hid stars of the next one.
        var sky = new DrawnSky(43, 577);
        for (int k = 0; k < 1500; k++)
        {
            sky.Star(sky.Uniform(1, 575), sky.Uniform(1, 575), 3000 * Math.Pow(20, sky.Uniform(0, 1)), DrawnSky.Gaussian(1.3), 8);
        }

        float[] pixels = sky.Pixels();
        StarField Again(int threads) => StarMeasurement.Measure(
            new StarRequest { Frame = sky.Frame(pixels), Mosaic = "RGGB", Color = MosaicColor.Green }, new RunContext(threads));
        StarField first = Again(1);
        foreach (int threads in new[] { 1, 1, 3 })
        {
            StarField next = Again(threads);
            Assert.Equal(first.X, next.X);
            Assert.Equal(first.Hfr, next.Hfr);
            Assert.Equal(first.Flags, next.Flags);
        }
    }

    [Fact]
    public void A_star_at_the_edge_of_the_mosaic_is_cut()
    {
        var sky = new DrawnSky(42, 301);
        sky.Lattice(5, (_, _) => DrawnSky.Gaussian(1.3), 50000, 200000);
        sky.Star(3, 150, 90000, DrawnSky.Gaussian(1.3));
        StarField field = Measure(sky, "RGGB", MosaicColor.Green);
        int at = Enumerable.Range(0, field.X.Length).MinBy(i => Math.Abs(field.X[i] - 3) + Math.Abs(field.Y[i] - 150));
        Assert.Equal(3, field.X[at], 0.3);
        Assert.NotEqual(0, field.Flags[at] & (int)StarMarks.Edge);
    }

    [Fact]
    public void A_word_that_is_no_mosaic_is_refused() =>
        Assert.Contains("RGGB", Assert.Throws<InputException>(() => Measure(new DrawnSky(43, 64), "RGBW", MosaicColor.Green)).Message, StringComparison.Ordinal);

    private static StarField Measure(DrawnSky sky, string pattern, MosaicColor color)
    {
        // White stars: red pixels get 0.6 of what green ones do, blue ones 0.5, of stars and sky alike.
        float[] pixels = sky.Pixels();
        for (int i = 0; i < pixels.Length; i++)
        {
            char filter = pattern[(2 * (i / sky.Size % 2)) + (i % sky.Size % 2)];
            pixels[i] *= filter == 'R' ? 0.6f : filter == 'B' ? 0.5f : 1;
        }

        double share = color == MosaicColor.Red ? 0.6 : color == MosaicColor.Blue ? 0.5 : 1;
        Frame frame = sky.Frame(pixels);
        return StarMeasurement.Measure(
            new StarRequest { Frame = frame with { GainElectronsPerAdu = frame.GainElectronsPerAdu / share }, Mosaic = pattern, Color = color }, RunContext.Default);
    }

    private static Func<double, double, double> Ellipse(double a, double b, double degrees)
    {
        double cos = Math.Cos(degrees * Math.PI / 180), sin = Math.Sin(degrees * Math.PI / 180);
        return (dx, dy) =>
        {
            double u = ((dx * cos) + (dy * sin)) / a, v = ((dy * cos) - (dx * sin)) / b;
            return Math.Exp(-0.5 * ((u * u) + (v * v))) / (2 * Math.PI * a * b);
        };
    }

    /// <summary>Half-flux radius of an elliptical Gaussian over that of a round one, for axes whose product is 1: the light inside a circle,
    /// integrated over the radius in closed form and over the angle in numbers.</summary>
    private static double HalfLight(double a, double b)
    {
        double Inside(double r)
        {
            double sum = 0;
            const int Steps = 720;
            for (int k = 0; k < Steps; k++)
            {
                double angle = 2 * Math.PI * k / Steps, w = (Math.Cos(angle) * Math.Cos(angle) / (a * a)) + (Math.Sin(angle) * Math.Sin(angle) / (b * b));
                sum += (1 - Math.Exp(-0.5 * r * r * w)) / (a * b * w);
            }

            return sum / Steps;
        }

        double low = 0.5, high = 3;
        for (int k = 0; k < 50; k++)
        {
            double middle = 0.5 * (low + high);
            (low, high) = Inside(middle) < 0.5 ? (middle, high) : (low, middle);
        }

        return low / 1.17741;
    }
}
