using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Imaging;

/// <summary>Truth: the level and noise that the samples were drawn with.</summary>
public class BackgroundTests
{
    [Theory]
    [InlineData(100, 5)]
    [InlineData(1000, 0.7)]
    [InlineData(-3, 20)]
    public void Clean_noise_gives_level_and_noise(double level, double noise)
    {
        float[] samples = Normal(65536, level, noise, 3);
        (float l, float s) = BackgroundEstimator.Robust(samples, float.NaN, float.NaN);

        // Standard error of the weighted mean is about 1.05 sigma / sqrt(n); four of them. Noise: 1/sqrt(2n), doubled by clipping.
        Assert.Equal(level, l, 4.2 * noise / 256);
        Assert.Equal(noise, s, 0.015 * noise);
    }

    [Fact]
    public void Whole_numbers_do_not_round_the_level()
    {
        float[] samples = Normal(65536, 100.3, 1.1, 4);
        for (int i = 0; i < samples.Length; i++)
        {
            samples[i] = MathF.Round(samples[i]);
        }

        (float level, _) = BackgroundEstimator.Robust(samples, float.NaN, float.NaN);

        // Four standard errors of the mean (1.1 / 256); a median would be 0.3 off, a hard cut 0.05.
        Assert.Equal(100.3, level, 0.018);
    }

    [Fact]
    public void A_tenth_of_bright_pixels_moves_the_level_by_little()
    {
        float[] samples = Normal(40000, 100, 5, 5);
        for (int i = 0; i < samples.Length; i += 10)
        {
            samples[i] += 300;
        }

        (float level, float noise) = BackgroundEstimator.Robust(samples, float.NaN, float.NaN);
        Assert.Equal(100, level, 0.15);
        Assert.Equal(5, noise, 0.15);
    }

    [Fact]
    public void Vector_path_follows_the_scalar_twin()
    {
        foreach (int n in new[] { 16, 17, 31, 32, 33, 100, 127, 128, 129, 1000, 1024 })
        {
            float[] samples = Normal(n, 500, 12, n);
            (float a, float b) = BackgroundEstimator.AfreshScalar(samples, 499, 11);
            (float c, float d) = BackgroundEstimator.AfreshVectors(samples, 499, 11);

            // Sums in another order: single-precision rounding of deviations only.
            Assert.Equal(a, c, 1e-3);
            Assert.Equal(b, d, 1e-3);
        }
    }

    [Fact]
    public void The_exchange_network_brings_the_median_of_nine_into_the_middle()
    {
        var random = new Random(3);
        for (int trial = 0; trial < 2000; trial++)
        {
            double[] nine = [.. Enumerable.Range(0, 9).Select(_ => Math.Round(6 * random.NextDouble()))];
            double truth = nine.Order().ElementAt(4);
            foreach ((int low, int high) in BackgroundEstimator.MedianOfNine)
            {
                (nine[low], nine[high]) = (Math.Min(nine[low], nine[high]), Math.Max(nine[low], nine[high]));
            }

            Assert.Equal(truth, nine[4]);
        }
    }

    [Fact]
    public void A_slope_is_followed_to_the_corners()
    {
        const int W = 640, H = 512;
        float[] pixels = Normal(W * H, 0, 4, 6);
        for (int y = 0; y < H; y++)
        {
            for (int x = 0; x < W; x++)
            {
                pixels[(y * W) + x] += 200 + (0.1f * x) - (0.05f * y);
            }
        }

        BackgroundMesh mesh = BackgroundEstimator.Estimate(new Frame { Pixels = RawPixels.FromFloats(pixels, W, H), Name = "slope" }, 64, RunContext.Default);
        foreach ((int x, int y) in new[] { (0, 0), (W - 1, 0), (0, H - 1), (W - 1, H - 1), (W / 2, H / 2), (100, 333) })
        {
            SkySample sky = mesh.At(x, y);

            // A cell holds 4096 samples: 0.0625 ADU; continued to a corner half a cell beyond: three times that.
            Assert.Equal(200 + (0.1 * x) - (0.05 * y), sky.Level, 0.35);
            Assert.Equal(4, sky.Noise, 0.25);
        }

        Assert.Equal(0.1, mesh.At(300, 250).SlopeX, 0.005);
        Assert.Equal(-0.05, mesh.At(300, 250).SlopeY, 0.005);
    }

    [Fact]
    public void Masked_and_missing_regions_are_bridged()
    {
        const int W = 256, H = 256;
        float[] pixels = Normal(W * H, 50, 2, 9);
        byte[] mask = new byte[W * H];
        for (int y = 0; y < 128; y++)
        {
            for (int x = 0; x < 128; x++)
            {
                mask[(y * W) + x] = 1;
                pixels[(y * W) + x] = 1e6f;
                pixels[((y + 128) * W) + x + 128] = float.NaN;
            }
        }

        var frame = new Frame { Pixels = RawPixels.FromFloats(pixels, W, H), Mask = mask };
        BackgroundMesh mesh = BackgroundEstimator.Estimate(frame, 64, RunContext.Default);
        Assert.Equal(50, mesh.At(60, 60).Level, 0.3);
        Assert.Equal(50, mesh.At(200, 200).Level, 0.3);
        Array.Fill(pixels, float.NaN);
        Assert.Throws<CannotMeasureException>(() =>
            BackgroundEstimator.Estimate(new Frame { Pixels = RawPixels.FromFloats(pixels, W, H) }, 64, RunContext.Default));
    }

    private static float[] Normal(int n, double mean, double sigma, int seed)
    {
        var random = new Random(seed);
        float[] values = new float[n];
        for (int i = 0; i < n; i++)
        {
            values[i] = (float)(mean + (sigma * Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble())));
        }

        return values;
    }

    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public void Every_stored_format_gives_the_same_mesh(bool large)
    {
        // 1600 x 1100 pixels: every second row is read; the narrow one has cells of odd widths.
        (int w, int h) = large ? (1600, 1100) : (333, 201);
        float[] sky = Normal(w * h, 1000, 20, 12);
        for (int i = 0; i < sky.Length; i++)
        {
            sky[i] = MathF.Round(sky[i] + (0.02f * (i % w)));
        }

        byte[] file = new byte[2 * sky.Length], words = new byte[2 * sky.Length], wide = new byte[4 * sky.Length];
        for (int i = 0; i < sky.Length; i++)
        {
            System.Buffers.Binary.BinaryPrimitives.WriteInt16BigEndian(file.AsSpan(2 * i), (short)(sky[i] - 32768));
            BitConverter.TryWriteBytes(words.AsSpan(2 * i), (ushort)sky[i]);
            BitConverter.TryWriteBytes(wide.AsSpan(4 * i), (int)sky[i]);
        }

        // 32-bit integers go through the decoder: the reference.
        SkyCells truth = Cells(new RawPixels(wide, PixelFormat.Int32, false, w, h));
        foreach (RawPixels pixels in new[] { RawPixels.FromFloats(sky, w, h), new RawPixels(words, PixelFormat.UInt16, false, w, h),
            new RawPixels(file, PixelFormat.Int16, true, w, h, 1, 32768) })
        {
            SkyCells got = Cells(pixels);
            Assert.Equal(truth.Level, got.Level);
            Assert.Equal(truth.Noise, got.Noise);
        }

        static SkyCells Cells(RawPixels pixels) => BackgroundEstimator.Measure(new Frame { Pixels = pixels, Name = "formats" }, 64, RunContext.Default);
    }

    [Fact]
    public void A_neighbor_is_only_a_start()
    {
        // Half of the samples at another level: no neighbor's guess may decide which half is the sky.
        float[] samples = Normal(1024, 500, 10, 21);
        for (int i = 0; i < samples.Length; i += 2)
        {
            samples[i] += 200;
        }

        (float low, _) = BackgroundEstimator.Robust(samples, 500, 10);
        (float high, _) = BackgroundEstimator.Robust(samples, 700, 10);
        (float none, _) = BackgroundEstimator.Robust(samples, float.NaN, float.NaN);
        Assert.Equal(none, low, 2.0);
        Assert.Equal(none, high, 2.0);

        // A good guess and none at all come to the same: within a tenth of what the mean scatters by (10/32).
        float[] clean = Normal(1024, 500, 10, 22);
        (float with, float noiseWith) = BackgroundEstimator.Robust(clean, 501, 10.5f);
        (float without, float noiseWithout) = BackgroundEstimator.Robust(clean, float.NaN, float.NaN);
        Assert.Equal(without, with, 0.03);
        Assert.Equal(noiseWithout, noiseWith, 0.15);
    }
}
