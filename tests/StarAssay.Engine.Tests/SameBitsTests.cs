using System.Text.Json;
using System.Text.Json.Serialization;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Measurements.ColorFocus;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Simulation;
using StarAssay.Engine.Stars;
using StarAssay.Engine.Tests.Imaging;
using StarAssay.Engine.Tests.Stars;

namespace StarAssay.Engine.Tests;

/// <summary>
/// On one processor a measurement's bits are those of the picture: however its pixels are stored and however many threads
/// measure. Every number of the result is compared, not some; tests/run repeats this with every width of vectors.
/// </summary>
[Trait("Compares", "bits")]
public class SameBitsTests
{
    private static readonly JsonSerializerOptions Exactly = new()
    {
        NumberHandling = JsonNumberHandling.AllowNamedFloatingPointLiterals,
        Converters = { new Rectangles<double>(), new Rectangles<float>(), new Rectangles<bool>() }
    };

    // Stars that fill one, two and three registers of a stamp, each with its own rest; a sky that slopes both ways; stars at
    // the rim; cells of 15 and 16 columns, the fewest that registers are used for.
    [Theory]
    [InlineData(1.1, 64, false)]
    [InlineData(1.5, 64, true)]
    [InlineData(2.3, 16, false)]
    [InlineData(3.4, 64, false)]
    [InlineData(6.0, 128, false)]
    public void Stars_are_the_same_to_the_last_bit_for_any_storage_and_threads(double sigma, int cellSize, bool masked)
    {
        const int Width = 395;
        var sky = new TestSky(seed: 11, sigmaX: sigma, sigmaY: 1.1 * sigma);
        foreach ((double x, double y) in new[] { (2.3, 150.0), (391.0, 210.5), (200.2, 1.4), (120.8, 317.2), (393.7, 318.9) })
        {
            sky.Draw(x, y, 20_000, sigma, sigma);
        }

        float[] pixels = [.. Enumerable.Range(0, Width * TestSky.Height)
            .Select(i => sky.Pixels[(i / Width * TestSky.Width) + (i % Width)] + (0.037f * (i / Width)))];
        byte[] mask = new byte[masked ? pixels.Length : 0];
        if (masked)
        {
            mask.AsSpan(60 * Width, 500).Fill(1);
        }

        CompareAll(StoredForms.Of(StoredForms.Counts(pixels), Width, TestSky.Height), (frame, context) =>
        {
            StarField field = StarMeasurement.Measure(new StarRequest
            {
                Frame = frame with { Mask = mask },
                CellSize = cellSize,
                FitProfiles = ProfileFits.All
            }, context);
            Assert.True(field.X.Length >= 20, $"{field.X.Length} stars found, too few to compare");
            return field;
        });
    }

    // A pedestal far above a faint noise: sums of raw words round most coarsely there. Stars of the noise itself, many at the
    // threshold.
    [Theory]
    [InlineData(1000, 1.0)]
    [InlineData(60_000, 1.0)]
    [InlineData(200, 30)]
    public void Peaks_near_the_threshold_are_found_alike(double pedestal, double noise)
    {
        const int Side = 256;
        float[] pixels = Noise(Side * Side, pedestal, noise);
        CompareAll(StoredForms.Of(StoredForms.Counts(pixels), Side, Side), (frame, context) =>
        {
            StarField field = StarMeasurement.Measure(new StarRequest { Frame = frame, Threshold = 2.5, FitProfiles = ProfileFits.None }, context);
            Assert.True(field.X.Length > 100, $"{field.X.Length} peaks found, too few to compare");
            return field;
        });
    }

    // Where pixels are missing, floats that can be read in place take another way as well.
    [Fact]
    public void Missing_pixels_are_missing_in_every_kind_of_float()
    {
        var sky = new TestSky(seed: 13);
        var random = new Random(14);
        for (int k = 0; k < 400; k++)
        {
            sky.Pixels[random.Next(sky.Pixels.Length)] = k % 3 == 0 ? float.PositiveInfinity : float.NaN;
        }

        sky.Pixels.AsSpan(200 * TestSky.Width, 40 * TestSky.Width).Fill(float.NaN);
        CompareAll(StoredForms.OfFloats(sky.Pixels, TestSky.Width, TestSky.Height), (frame, context) =>
        {
            StarField field = StarMeasurement.Measure(new StarRequest { Frame = frame, FitProfiles = ProfileFits.All }, context);
            Assert.True(field.X.Length >= 15, $"{field.X.Length} stars found, too few to compare");
            return field;
        });
    }

    [Fact]
    public void What_is_seen_in_the_pixels_is_the_same_for_any_storage_and_threads()
    {
        // Clipped in the middle of the range, where classes of brightness must be the same ones. One bright pixel, so that floats
        // need classes wider than a count unless they are seen to be counts.
        var sky = new TestSky(seed: 12);
        sky.Draw(200, 160, 2e6, 4, 4);
        int[] counts = [.. StoredForms.Counts(sky.Pixels).Select(c => Math.Min(c, 4095))];
        counts[777] = 60_000;
        CompareAll(StoredForms.Of(counts, TestSky.Width, TestSky.Height), (frame, context) =>
        {
            FrameInspection seen = FrameInspector.Inspect(frame with { SaturationAdu = double.NaN }, context);
            Assert.Equal(4095, seen.PileUpAdu);
            return seen;
        });
    }

    [Fact]
    public void Wavefront_is_the_same_to_the_last_bit_for_any_storage_and_threads()
    {
        const int Side = 72;
        var telescope = new SimulatedTelescope
        {
            ApertureMm = 115,
            FocalLengthMm = 760,
            Obstruction = 0.3,
            NollTerms = [5, 7, 8, 11],
            CoefficientsNm = [14, -22, 9, 18]
        };
        var detector = new DetectorResponse { Width = Side, Height = Side, PitchUm = 3.76 };
        int[] pair = [.. new[] { -850.0, 800.0 }.SelectMany((um, k) =>
        {
            ushort[] adu = new ushort[Side * Side];
            SingleStarDrawing.Draw(new SingleStarRequest { Telescope = telescope, Detector = detector, Electrons = 1e7, FocusPositionUm = um, Seed = k + 1 },
                adu, RunContext.Default);
            return adu.Select(v => (int)v);
        })];
        CompareAll(Few(StoredForms.Of(pair, Side, 2 * Side)), (both, context) => WavefrontFits.Measure(
            new WavefrontRequest
            {
                Frames = [Half(both, 0), Half(both, 1)],
                ApertureMm = 115,
                FocalLengthMm = 760,
                Pupil = new PupilShape { Obstruction = 0.3 },
                WavelengthsNm = [540],
                PitchUm = 3.76,
                LeastNoll = 11,
                MostNoll = 11,
                MapSize = 32,
            },
            context));
    }

    [Fact]
    public void Color_focus_is_the_same_to_the_last_bit_for_any_storage_and_threads()
    {
        const int Width = 340, Height = 90;
        double[] nm = [.. Enumerable.Range(0, Width).Select(x => 395 + (0.9 * x))], curve = [.. Enumerable.Range(0, 90).Select(i => 370 + (5.0 * i))],
            position = [-250, 0, 250];
        int[] run = [.. position.SelectMany((um, k) =>
        {
            float[] pixels = new float[Width * Height];
            SpectrumSimulator.Draw(new SpectrumScene { Width = Width, Height = Height, WavelengthsNm = nm, CurveWavelengthNm = curve,
                CurveFocusUm = [.. curve.Select(w => Math.Pow((w - 550) / 20, 2))], SensorUm = um, FocalRatio = 7, FocalLengthMm = 700, PitchUm = 5,
                Electrons = 8e6, Seed = k }, pixels);
            return StoredForms.Counts(pixels);
        })];
        CompareAll(Few(StoredForms.Of(run, Width, 3 * Height)), (all, context) => ColorFocusMeasurement.Measure(
            [.. Enumerable.Range(0, 3).Select(k =>
                Part(all, k, 3) with { GainElectronsPerAdu = 1, ReadNoiseElectrons = 3, PitchUm = 5, SaturationAdu = 65535 })],
            new ColorFocusRequest
            {
                FocalRatio = 7,
                PositionsUm = position,
                WavelengthsNm = nm,
                LimitsNm = [400, 700],
                Disperser = Disperser.Prism,
                Replicates = 20,
                Reduction = new SpectrumRequest { Bins = 24 }
            },
            context));
    }

    private static Frame Half(Frame both, int k) => Part(both, k, 2) with { GainElectronsPerAdu = 1, ReadNoiseElectrons = 3, SaturationAdu = 65535 };

    /// <summary>One of several frames that are stored one after the other.</summary>
    private static Frame Part(Frame all, int k, int parts)
    {
        RawPixels p = all.Pixels;
        int bytes = p.Bytes.Length / parts;
        return new Frame
        {
            Pixels = new RawPixels(p.Bytes.Slice(k * bytes, bytes), p.Format, p.BigEndian, p.Width, p.Height / parts, p.Scale, p.Zero),
            Name = $"part {k}"
        };
    }

    private static float[] Noise(int count, double level, double sigma)
    {
        var random = new Random(5);
        return [.. Enumerable.Range(0, count).Select(_ =>
            (float)(level + (sigma * Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble()))))];
    }

    /// <summary>For the slow measurements, which decode all that they read: words decoded in registers, and integers one by one.</summary>
    private static IEnumerable<(string Name, RawPixels Pixels)> Few(IEnumerable<(string Name, RawPixels Pixels)> all) =>
        all.Where(form => form.Pixels.BigEndian ? form.Pixels.Format is PixelFormat.Int32 : form.Pixels.Format is PixelFormat.UInt16);

    private static void CompareAll<T>(IEnumerable<(string Name, RawPixels Pixels)> forms, Func<Frame, RunContext, T> measure)
    {
        string? first = null, firstName = null;
        int threads = 0;
        foreach ((string name, RawPixels pixels) in forms)
        {
            threads = (threads % 3) + 1;
            string found = JsonSerializer.Serialize(measure(new Frame { Pixels = pixels, Name = "same", GainElectronsPerAdu = 2 }, new RunContext(threads)),
                Exactly);
            (first, firstName) = (first ?? found, firstName ?? name);
            int at = first.AsSpan().CommonPrefixLength(found);
            Assert.True(at == first.Length && at == found.Length, $"{name} on {threads} threads differs from {firstName} on one: {Around(first, at)} " +
                $"against {Around(found, at)}");
        }

        Assert.True(threads > 0 && first!.Length > 100, "nothing was compared");
    }

    private static string Around(string text, int at) => text[Math.Max(0, at - 60)..Math.Min(text.Length, at + 20)];

    /// <summary>Rectangular arrays, which the serializer does not know.</summary>
    private sealed class Rectangles<T> : JsonConverter<T[,]>
    {
        public override T[,] Read(ref Utf8JsonReader reader, Type typeToConvert, JsonSerializerOptions options) => throw new NotSupportedException();

        public override void Write(Utf8JsonWriter writer, T[,] value, JsonSerializerOptions options) =>
            JsonSerializer.Serialize(writer, value.Cast<T>(), options);
    }
}
