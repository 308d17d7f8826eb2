using StarAssay.Engine.Imaging;
using StarAssay.Engine.Imaging.Calibration;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Imaging.Calibration;

/// <summary>Calibration of frames whose truth is known.</summary>
public class CalibrationTests
{
    [Fact]
    public void Clipping_removes_a_cosmic_ray_and_keeps_the_mean()
    {
        Frame[] frames = [.. Enumerable.Range(0, 15).Select(i => Draw.Frame(40, 30, (x, y) => x == 5 && y == i ? 5000 : 100, 3, i))];
        MasterFrame master = FrameCombiner.Combine(frames, new CombineRequest(), RunContext.Default);

        // Mean of 14 or 15 values of sigma 3: standard error 0.8; five of them.
        for (int y = 0; y < 30; y++)
        {
            Assert.InRange(master.Pixels[y, 5], 96, 104);
        }

        Assert.True(master.Counts[3, 5] <= 14);
        Assert.InRange(Average(master.Uncertainty), 0.6, 0.9);
        Assert.InRange(master.RejectedShare, 0, 0.05);
    }

    [Fact]
    public void Plain_mean_and_median_are_what_they_say()
    {
        Frame[] frames = [.. new[] { 1.0, 2, 6 }.Select(v => Draw.Frame(3, 2, (_, _) => v))];
        Assert.Equal(3, FrameCombiner.Combine(frames, new CombineRequest { Method = CombineMethod.Mean }, RunContext.Default).Pixels[1, 2]);
        Assert.Equal(2, FrameCombiner.Combine(frames, new CombineRequest { Method = CombineMethod.Median }, RunContext.Default).Pixels[1, 2]);
    }

    [Trait("Compares", "bits")]
    [Fact]
    public void Combining_is_the_same_for_any_threads()
    {
        Frame[] frames = [.. Enumerable.Range(0, 7).Select(i => Draw.Frame(61, 47, (x, y) => x + y, 5, i))];
        MasterFrame one = FrameCombiner.Combine(frames, new CombineRequest { Normalize = true }, new RunContext(1));
        MasterFrame many = FrameCombiner.Combine(frames, new CombineRequest { Normalize = true }, new RunContext(5));
        Assert.Equal(one.Pixels, many.Pixels);
        Assert.Equal(one.Uncertainty, many.Uncertainty);
    }

    [Fact]
    public void Bias_dark_and_flat_give_the_truth_back()
    {
        static double Flat(int x) => 0.6 + (0.02 * x);
        Frame raw = Draw.Frame(30, 20, (x, y) => 300 + (2 * (5 + y)) + (1000 * Flat(x))) with
        {
            ExposureS = 20,
            GainElectronsPerAdu = 2,
            ReadNoiseElectrons = 8
        };
        Master bias = new(Draw.Frame(30, 20, (_, _) => 300), default);
        Master dark = new(Draw.Frame(30, 20, (_, y) => 300 + 5 + y) with { ExposureS = 10 }, default);
        Master flat = new(Draw.Frame(30, 20, (x, _) => 7000 * Flat(x)), default);
        CalibratedFrame clean = FrameCalibrator.Calibrate(raw, bias, dark, flat, new CalibrateRequest { DarkExposureS = 10 }, RunContext.Default);
        double middle = 0.5 * (Flat(14) + Flat(15));
        for (int x = 0; x < 30; x++)
        {
            Assert.Equal(1000 * middle, clean.Pixels[7, x], 2);

            // Closed form: electrons above bias over gain squared, plus read noise, over the flat.
            double above = (2 * 12) + (1000 * Flat(x));
            double expected = Math.Sqrt((above / 2) + 16) / (Flat(x) / middle);
            Assert.Equal(expected, clean.Uncertainty[7, x], 2);
        }

        Assert.Equal(2, clean.DarkFactor);
        Assert.Contains(clean.Notes, n => n.Code == CalibrationNotes.DarkScaled.Code);
    }

    [Fact]
    public void Bias_uncertainty_is_not_counted_twice_through_the_dark()
    {
        // With factor 1 the bias cancels altogether: raw - b - (d - b).
        Frame raw = Draw.Frame(4, 4, (_, _) => 500) with { ExposureS = 10, GainElectronsPerAdu = 1, ReadNoiseElectrons = 0 };
        float[] large = [.. Enumerable.Repeat(100f, 16)];
        Master bias = new(Draw.Frame(4, 4, (_, _) => 500), large);
        Master dark = new(Draw.Frame(4, 4, (_, _) => 500) with { ExposureS = 10 }, default);
        CalibratedFrame clean = FrameCalibrator.Calibrate(raw, bias, dark, null, new CalibrateRequest(), RunContext.Default);
        Assert.Equal(0, clean.Uncertainty[1, 1], 6);
    }

    [Fact]
    public void A_dark_with_bias_is_not_scaled_without_one()
    {
        Frame raw = Draw.Frame(4, 4, (_, _) => 500) with { ExposureS = 30 };
        Master dark = new(Draw.Frame(4, 4, (_, _) => 310), default);
        InputException error = Assert.Throws<InputException>(() =>
            FrameCalibrator.Calibrate(raw, null, dark, null, new CalibrateRequest { DarkExposureS = 10 }, RunContext.Default));
        Assert.Contains("bias", error.Message, StringComparison.Ordinal);
    }

    [Fact]
    public void Overscan_is_taken_off_and_what_is_not_lit_is_masked()
    {
        Frame raw = Draw.Frame(20, 10, (x, _) => x >= 16 ? 950 : 1400);
        CalibratedFrame clean = FrameCalibrator.Calibrate(raw, null, null, null,
            new CalibrateRequest { Overscan = [17, 20, 0, 10], LitPart = [0, 16, 0, 10] }, RunContext.Default);
        Assert.Equal((950, 450), (clean.OverscanAdu, clean.Pixels[3, 3]));
        Assert.True(clean.Mask[3, 16]);
        Assert.False(clean.Mask[3, 15]);
    }

    [Theory]
    [InlineData(0.4, 1.5)]
    [InlineData(1.24, 2.7)]
    [InlineData(3.0, 4.0)]
    public void Photon_transfer_finds_gain_and_read_noise(double gain, double readAdu)
    {
        // Truth is drawn: photon noise (Gaussian at these levels) of an uneven flat, and a second flat 3 % brighter.
        Frame Shot(double light, int seed)
        {
            var random = new Random(seed);
            return Draw.Frame(256, 256, (x, y) =>
            {
                double electrons = light * gain * 12000 * (0.4 + (0.6 * x / 255.0));
                return 900 + ((electrons + (Math.Sqrt(electrons) * Draw.Gauss(random))) / gain) + (readAdu * Draw.Gauss(random));
            });
        }

        PhotonTransferResult result = PhotonTransfer.Measure(Shot(1, 1), Shot(1.03, 2), Shot(0, 3), Shot(0, 4), new PhotonTransferRequest(),
            RunContext.Default);
        Assert.InRange((result.Gain.Value - gain) / result.Gain.Uncertainty, -4, 4);
        Assert.InRange((result.ReadNoiseAdu.Value - readAdu) / result.ReadNoiseAdu.Uncertainty, -4, 4);
        Assert.InRange(result.Gain.Uncertainty / gain, 0.002, 0.02);
        Assert.Equal(1.03, result.FlatRatio, 2);
    }

    [Fact]
    public void Copies_of_one_flat_have_no_gain()
    {
        Frame flat = Draw.Frame(128, 128, (_, _) => 9000, 60, 1), bias = Draw.Frame(128, 128, (_, _) => 900, 3, 2),
            bias2 = Draw.Frame(128, 128, (_, _) => 900, 3, 3);
        CannotMeasureException error = Assert.Throws<CannotMeasureException>(() =>
            PhotonTransfer.Measure(flat, flat, bias, bias2, new PhotonTransferRequest(), RunContext.Default));
        Assert.Contains("copies", error.Message, StringComparison.Ordinal);
    }

    [Fact]
    public void Hot_and_dead_pixels_are_found_and_no_others()
    {
        Frame dark = Draw.Frame(60, 50, (x, y) => (x, y) is (10, 20) or (40, 3) ? 900 : 20 + (0.5 * x), 4);
        Frame flat = Draw.Frame(60, 50, (x, y) => (x, y) == (30, 30) ? 2000 : 20000 + (100 * x), 100);
        BadPixelMask bad = BadPixels.Find(dark, flat, new BadPixelRequest(), RunContext.Default);
        Assert.Equal((2, 1), (bad.HotCount, bad.DeadCount));
        Assert.True(bad.Mask[20, 10] && bad.Mask[3, 40] && bad.Mask[30, 30]);
    }

    [Fact]
    public void Cosmic_rays_are_found_and_stars_are_left()
    {
        // Stars of FWHM 2.8 pixels; hits of one to four pixels, at 20 to 60 times the noise.
        var random = new Random(5);
        (double X, double Y, double Peak)[] stars = [.. Enumerable.Range(0, 25)
            .Select(_ => (10 + (180 * random.NextDouble()), 10 + (180 * random.NextDouble()), Math.Pow(10, 2 + (2 * random.NextDouble()))))];
        HashSet<(int X, int Y)> hits = [];
        for (int k = 0; k < 40; k++)
        {
            int x = random.Next(3, 197), y = random.Next(3, 197);
            if (stars.All(s => Math.Abs(s.X - x) + Math.Abs(s.Y - y) > 12))
            {
                for (int j = 0; j <= k % 4; j++)
                {
                    hits.Add((x + (j % 2), y + (j / 2)));
                }
            }
        }

        double Level(int x, int y) => 200 + (hits.Contains((x, y)) ? 600 : 0)
            + stars.Sum(s => s.Peak * Math.Exp(-(Math.Pow(x - s.X, 2) + Math.Pow(y - s.Y, 2)) / (2 * 1.2 * 1.2)));
        var noise = new Random(7);
        Frame frame = Draw.Frame(200, 200, (x, y) => Level(x, y) + (Math.Sqrt(Level(x, y) + 25) * Draw.Gauss(noise))) with
        {
            GainElectronsPerAdu = 1,
            ReadNoiseElectrons = 5
        };
        CosmicRayMask found = CosmicRays.Find(frame, new CosmicRayRequest(), RunContext.Default);
        int caught = hits.Count(h => found.Mask[h.Y, h.X]);
        Assert.True(hits.Count > 40);
        Assert.True(caught >= 0.95 * hits.Count, $"{caught} of {hits.Count}");
        Assert.DoesNotContain(stars, s => found.Mask[(int)Math.Round(s.Y), (int)Math.Round(s.X)]);
        Assert.True(found.PixelCount - caught < 0.2 * hits.Count, $"{found.PixelCount - caught} pixels too many");
    }

    private static double Average(float[,] values) => values.Cast<float>().Average(v => v);
}
