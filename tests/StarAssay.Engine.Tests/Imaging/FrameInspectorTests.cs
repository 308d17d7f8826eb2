using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Imaging;

/// <summary>Frames drawn with a known clipping level, or none.</summary>
public class FrameInspectorTests
{
    [Theory]
    [InlineData(4095)]
    [InlineData(16383)]
    [InlineData(13583)]
    public void Clipped_stars_show_the_clipping_level(int clip)
    {
        FrameInspection seen = FrameInspector.Inspect(Draw.Rounded(Stars(4 * clip), clip), RunContext.Default);
        Assert.Equal(clip, seen.PileUpAdu);
        Assert.Equal(clip, seen.MaximumAdu);
        Assert.True(seen.PileUpCount >= 4);
    }

    [Fact]
    public void Unclipped_stars_and_plain_noise_show_none()
    {
        for (int seed = 0; seed < 20; seed++)
        {
            Assert.True(double.IsNaN(FrameInspector.Inspect(Draw.Rounded(Stars(30000, seed)), RunContext.Default).PileUpAdu));
            Assert.True(double.IsNaN(FrameInspector.Inspect(Draw.Rounded(Draw.Frame(128, 128, (_, _) => 100, 2, seed)), RunContext.Default).PileUpAdu));
        }
    }

    [Fact]
    public void A_14_bit_camera_in_a_16_bit_file_has_step_4()
    {
        Frame coarse = Draw.Frame(100, 80, (x, y) => 4 * Math.Round(Math.Min(250 + x + (y * y * 0.5), 3000)));
        Assert.Equal(4, FrameInspector.Inspect(Draw.Rounded(coarse), RunContext.Default).StepAdu);
    }

    [Fact]
    public void Median_and_spread_are_those_of_the_noise()
    {
        // 65,536 normal values: the error of median and spread is below 0.01 sigma = 0.2; classes are 1 wide.
        FrameInspection seen = FrameInspector.Inspect(Draw.Rounded(Draw.Frame(256, 256, (_, _) => 1000, 20)), RunContext.Default);
        Assert.InRange(seen.MedianAdu, 999, 1001);
        Assert.InRange(seen.SpreadAdu, 19, 21);
    }

    [Fact]
    public void Masked_and_missing_pixels_are_told_apart()
    {
        float[] pixels = [float.NaN, 1, 2, float.PositiveInfinity, 3, 4];
        FrameInspection seen = FrameInspector.Inspect(Draw.Of(pixels, 3, 2) with { Mask = new byte[] { 1, 0, 0, 0, 0, 1 } }, RunContext.Default);
        Assert.Equal((6, 1, 3), (seen.PixelCount, seen.NotFiniteCount, seen.UsedCount));
        Assert.Equal((1, 3), (seen.MinimumAdu, seen.MaximumAdu));
    }

    [Fact]
    public void Nothing_usable_gives_NaN_not_zero()
    {
        FrameInspection seen = FrameInspector.Inspect(Draw.Of([float.NaN, float.NaN], 2, 1), RunContext.Default);
        Assert.Equal(0, seen.UsedCount);
        Assert.True(double.IsNaN(seen.MaximumAdu));
    }

    [Trait("Compares", "bits")]
    [Fact]
    public void Threads_change_nothing()
    {
        Frame frame = Draw.Rounded(Stars(90000), 16383);
        FrameInspection one = FrameInspector.Inspect(frame, new RunContext(1));
        Assert.Equal(one, FrameInspector.Inspect(frame, new RunContext(2)));
        Assert.Equal(one, FrameInspector.Inspect(frame, new RunContext(7)));
    }

    [Trait("Compares", "bits")]
    [Theory]
    [InlineData(256)]
    [InlineData(255)]
    [InlineData(253)]
    public void Words_are_counted_as_decoded_pixels_are(int width)
    {
        // 32-bit integers go through the decoder: the reference. Their classes begin at the least value.
        Frame drawn = Draw.Rounded(Draw.Frame(width, 100, (x, y) => 700 + x + (y % 7 == 0 && x % 50 == 3 ? 60000 : 0), 25), 16383);
        float[] row = new float[width];
        byte[] file = new byte[2 * width * 100], wide = new byte[4 * width * 100];
        for (int y = 0; y < 100; y++)
        {
            new RowDecoder(drawn.Pixels).Decode(y, 0, row);
            for (int x = 0; x < width; x++)
            {
                System.Buffers.Binary.BinaryPrimitives.WriteInt16BigEndian(file.AsSpan(2 * ((y * width) + x)), (short)(row[x] - 32768));
                BitConverter.TryWriteBytes(wide.AsSpan(4 * ((y * width) + x)), (int)row[x]);
            }
        }

        FrameInspection truth = Seen(new RawPixels(wide, PixelFormat.Int32, !BitConverter.IsLittleEndian, width, 100));
        Assert.Equal(16383, truth.PileUpAdu);
        Assert.Equal(truth, Seen(drawn.Pixels));
        Assert.Equal(truth, Seen(new RawPixels(file, PixelFormat.Int16, true, width, 100, 1, 32768)));

        static FrameInspection Seen(RawPixels pixels) => FrameInspector.Inspect(new Frame { Pixels = pixels, Name = "words" }, RunContext.Default);
    }

    private static Frame Stars(double peak, int seed = 3) => Draw.Frame(256, 256, (x, y) =>
    {
        double sum = 300;
        for (int k = 0; k < 6; k++)
        {
            double dx = x - 20.3 - (41.7 * k), dy = y - 30.6 - (35.1 * k);
            sum += peak * Math.Exp(-((dx * dx) + (dy * dy)) / 8) / (1 + (0.3 * k));
        }

        return sum;
    }, 8, seed);
}
