using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Tests.Imaging;

/// <summary>The rounds that find the sky: registers against the definition, and the approach against what samples were drawn with.</summary>
public unsafe class ClipRoundsTests
{
    [Fact]
    public void Registers_follow_the_definition_at_every_width()
    {
        foreach (int width in new[] { 16, 17, 31, 32, 33, 47, 63, 64, 65, 100 })
        {
            // Rows lie further apart than they are long, as in a frame.
            const int Rows = 5;
            int pitch = width + 7;
            float[] pixels = Normal(Rows * pitch, 500, 12, width);
            pixels[3] = 5000;
            fixed (float* first = pixels)
            {
                var block = new PixelBlock((byte*)first, pitch, Rows, width);
                Compare<ClipRoundsLanes<Lanes128, StoredFloat>>(block);
                Compare<ClipRoundsLanes<Lanes256, StoredFloat>>(block);
                Compare<ClipRoundsLanes<Lanes512, StoredFloat>>(block);
            }
        }
    }

    [Theory]
    [InlineData(float.NaN)]
    [InlineData(float.NegativeInfinity)]
    public void A_missing_pixel_is_noticed_wherever_it_stands(float missing)
    {
        const int Width = 37;
        for (int at = 0; at < Width; at++)
        {
            float[] pixels = Normal(Width, 500, 12, 1);
            pixels[at] = missing;
            fixed (float* first = pixels)
            {
                var block = new PixelBlock((byte*)first, Width, 1, Width);
                Assert.True(float.IsNaN(ClipRoundsScalar<StoredFloat>.Within(block, 500, 30).Count));
                Assert.True(float.IsNaN(ClipRoundsLanes<Lanes128, StoredFloat>.Within(block, 500, 30).Count));
                Assert.True(float.IsNaN(ClipRoundsLanes<Lanes256, StoredFloat>.Within(block, 500, 30).Count));
                Assert.True(float.IsNaN(ClipRoundsLanes<Lanes512, StoredFloat>.Within(block, 500, 30).Count));
            }
        }
    }

    /// <summary>From starts as far off as neighbor cells are, level and noise scatter about the truth as after rounds without end.</summary>
    [Fact]
    public void Few_rounds_are_as_good_as_many()
    {
        const int Count = 1024, Trials = 400;
        var random = new Random(8);
        double level = 0, noise = 0, levelEnd = 0, noiseEnd = 0, mean = 0;
        for (int trial = 0; trial < Trials; trial++)
        {
            float[] pixels = Normal(Count, 500, 10, 100 + trial);
            float start = 500 + (float)(0.6 * (random.NextDouble() - 0.5) * 2), startNoise = 10 + (float)(0.5 * (random.NextDouble() - 0.5) * 2);
            fixed (float* first = pixels)
            {
                var block = new PixelBlock((byte*)first, Count, 1, Count);
                (float Level, float Noise)? found = BackgroundEstimator.NearBy<ClipRoundsScalar<StoredFloat>>(block, start, startNoise);
                Assert.NotNull(found);
                (double center, double sigma) = Converged(pixels);
                level += (found.Value.Level - 500) * (found.Value.Level - 500) / Trials;
                noise += (found.Value.Noise - 10) * (found.Value.Noise - 10) / Trials;
                levelEnd += (center - 500) * (center - 500) / Trials;
                noiseEnd += (sigma - 10) * (sigma - 10) / Trials;
                mean += (found.Value.Noise - sigma) / Trials;
            }
        }

        // Squares: half of a percent and of two percent in the scatter itself.
        Assert.True(level < 1.01 * levelEnd, $"level scatters by {Math.Sqrt(level)}, in the end by {Math.Sqrt(levelEnd)}");
        Assert.True(noise < 1.04 * noiseEnd, $"noise scatters by {Math.Sqrt(noise)}, in the end by {Math.Sqrt(noiseEnd)}");
        Assert.Equal(0, mean, 0.01);
    }

    /// <summary>Both fixed points by brute force: clipped variance in double precision, then Tukey's mean at that scale.</summary>
    private static (double Level, double Noise) Converged(float[] pixels)
    {
        double center = 500, sigma = 10;
        for (int round = 0; round < 60; round++)
        {
            double[] kept = [.. pixels.Where(v => Math.Abs(v - center) <= 2.5 * sigma).Select(v => (double)v)];
            double mean = kept.Average();
            sigma = Math.Sqrt(kept.Select(v => (v - mean) * (v - mean)).Average() / 0.911249);
            center = mean;
        }

        for (int round = 0; round < 60; round++)
        {
            double sum = 0, weights = 0;
            foreach (float v in pixels)
            {
                double u = (v - center) / (4 * sigma), w = Math.Abs(u) < 1 ? (1 - (u * u)) * (1 - (u * u)) : 0;
                sum += w * (v - center);
                weights += w;
            }

            center += sum / weights;
        }

        return (center, sigma);
    }

    private static void Compare<TRounds>(in PixelBlock block)
        where TRounds : struct, IClipRounds
    {
        ClipSums truth = ClipRoundsScalar<StoredFloat>.Within(block, 499, 27), got = TRounds.Within(block, 499, 27);
        Same(truth, got);
        (ClipSums clip, float step) = ClipRoundsScalar<StoredFloat>.Refine(block, 499, 11);
        (ClipSums clipGot, float stepGot) = TRounds.Refine(block, 499, 11);
        Same(clip, clipGot);
        Assert.Equal(step, stepGot, 1e-4);
    }

    // Sums in another order: single-precision rounding of deviations only.
    private static void Same(ClipSums truth, ClipSums got)
    {
        Assert.Equal(truth.Count, got.Count);
        Assert.Equal(truth.Sum, got.Sum, 1e-5 * truth.Squares);
        Assert.Equal(truth.Squares, got.Squares, 1e-5 * truth.Squares);
    }

    private static float[] Normal(int n, double mean, double sigma, int seed)
    {
        var random = new Random(seed);
        return [.. Enumerable.Range(0, n).Select(_ =>
            (float)(mean + (sigma * Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble()))))];
    }
}
