using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>Truth: the ring that was drawn, in frames as large as cameras make them.</summary>
public class DefocusedStarTests
{
    // A ring on a sky that falls off to the corners, with noise, a hot column, hits, and a larger but fainter patch of light.
    private static Frame Drawn(int width, int height, double x, double y, double radius, bool masked = false, double falling = 60)
    {
        var random = new Random(11);
        float[] pixels = new float[width * height];
        for (int j = 0; j < height; j++)
        {
            for (int i = 0; i < width; i++)
            {
                double far = Math.Pow((i - (width / 2.0)) / width, 2) + Math.Pow((j - (height / 2.0)) / width, 2);
                double r = Math.Sqrt(Math.Pow(i - x, 2) + Math.Pow(j - y, 2)) / radius;
                double light = r < 1 && r > 0.3 ? 900 : 0;
                pixels[(j * width) + i] = (float)Math.Round(500 - (falling * far) + light + (14 * (random.NextDouble() - 0.5)));
            }
        }

        for (int k = 0; k < width * height / 40_000; k++)
        {
            pixels[random.Next(pixels.Length)] = 60_000;
        }

        byte[] mask = masked ? new byte[width * height] : [];
        for (int k = 0; k < mask.Length; k += 7)
        {
            (mask[k], pixels[k]) = (1, float.NaN);
        }

        return new Frame { Pixels = RawPixels.FromFloats(pixels, width, height), Mask = mask, Name = "drawn" };
    }

    [Theory]
    [InlineData(2000, 1300, 1500, 450, 10, false)]
    [InlineData(2000, 1300, 310, 900, 16, true)]
    [InlineData(2000, 1300, 1000, 600, 150, false)]
    [InlineData(300, 200, 120, 80, 20, false)]
    public void A_disc_is_found_however_small_its_share_of_the_frame(int width, int height, double x, double y, double radius, bool masked)
    {
        DefocusedStar star = DefocusedStar.Find(Drawn(width, height, x, y, radius, masked));

        // Whole pixels of the second, closer look, up to four frame pixels wide for the largest; the edge lies between two.
        double cell = Math.Max(1, Math.Ceiling(6 * radius / 320));
        Assert.Equal(x, star.X, cell);
        Assert.Equal(y, star.Y, cell);
        Assert.Equal(2 * radius, star.Diameter, 2 * cell);
        Assert.Equal(900, star.Level, 40.0);
    }

    [Fact]
    public void An_empty_sky_holds_none()
    {
        Frame empty = Drawn(2000, 1300, -500, -500, 10, falling: 0);
        CannotMeasureException error = Assert.Throws<CannotMeasureException>(() => DefocusedStar.Find(empty));
        Assert.Equal("defocused-star.none", error.Code);
    }

    [Fact]
    public void Medians_of_nine_are_those_of_sorting()
    {
        // The 0-1 principle (Knuth, The Art of Computer Programming 3, 5.3.4): what is right for all zeros and ones is right for all numbers.
        for (int bits = 0; bits < 512; bits++)
        {
            double[] nine = [.. Enumerable.Range(0, 9).Select(k => (double)((bits >> k) & 1))];
            Assert.Equal(nine.Order().ElementAt(4), DefocusedStar.Median3(nine, 3, 3, 0)[4]);
        }
    }

    [Fact]
    public void Edges_and_what_is_no_number_are_left_out_of_medians()
    {
        double[] image = [.. Enumerable.Range(0, 35).Select(k => (double)(k * 37 % 23))];
        image[16] = double.NaN;
        double[] medians = DefocusedStar.Median3(image, 7, 5, -1);
        for (int k = 0; k < 35; k++)
        {
            double[] near = [.. Enumerable.Range(0, 35).Where(q => Math.Abs((q % 7) - (k % 7)) < 2 && Math.Abs((q / 7) - (k / 7)) < 2).Select(q => image[q])
                .Where(double.IsFinite).Order()];
            Assert.Equal(near[near.Length / 2], medians[k]);
        }

        Assert.Equal(-1, DefocusedStar.Median3([double.NaN], 1, 1, -1)[0]);
    }
}
