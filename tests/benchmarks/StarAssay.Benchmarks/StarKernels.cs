using BenchmarkDotNet.Attributes;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Benchmarks;

/// <summary>What a star measurement does to every pixel, on one megapixel of sky and stars, one thread.</summary>
[MemoryDiagnoser]
public class StarKernels
{
    private const int Width = 1024;
    private const int Height = 1024;
    private readonly RunContext one = new(threads: 1);
    private readonly float[] row = new float[Width];
    private RowDecoder decoder = null!;
    private Frame frame = null!;
    private SeedFinder finder = null!;

    /// <summary>Draws the frame: 16-bit integers in FITS order with 400 round stars.</summary>
    [GlobalSetup]
    public void Draw()
    {
        var random = new Random(20261);
        float[] sky = new float[Width * Height];
        for (int p = 0; p < sky.Length; p++)
        {
            sky[p] = 900 + (30 * (random.NextSingle() + random.NextSingle() + random.NextSingle() - 1.5f));
        }

        for (int star = 0; star < 400; star++)
        {
            int cx = random.Next(10, Width - 10);
            int cy = random.Next(10, Height - 10);
            float peak = 200 + (20000 * MathF.Pow(random.NextSingle(), 4));
            for (int y = -7; y <= 7; y++)
            {
                for (int x = -7; x <= 7; x++)
                {
                    sky[((cy + y) * Width) + cx + x] += peak * MathF.Exp(-((x * x) + (y * y)) / 4.5f);
                }
            }
        }

        byte[] bytes = new byte[2 * sky.Length];
        for (int p = 0; p < sky.Length; p++)
        {
            System.Buffers.Binary.BinaryPrimitives.WriteInt16BigEndian(bytes.AsSpan(2 * p), (short)(Math.Clamp(sky[p], 0, 65535) - 32768));
        }

        var pixels = new RawPixels(bytes, PixelFormat.Int16, true, Width, Height, 1, 32768);
        decoder = new RowDecoder(pixels);
        frame = new Frame { Pixels = pixels, Name = "benchmark" };
        finder = new SeedFinder(frame, BackgroundEstimator.Estimate(frame, 64, one), new MatchedFilter(1), 5, one);
    }

    /// <summary>Big-endian integers with BZERO to floats.</summary>
    [Benchmark]
    public float Decode()
    {
        float sum = 0;
        for (int y = 0; y < Height; y++)
        {
            decoder.Decode(y, 0, row);
            sum += row[y];
        }

        return sum;
    }

    /// <summary>Sky level and noise on a mesh of cells.</summary>
    [Benchmark]
    public double Sky() => BackgroundEstimator.Estimate(frame, 64, one).SamplesPerCell;

    /// <summary>The matched filter, screened, and the peaks in it.</summary>
    [Benchmark]
    public int FindPeaks() => finder.Find(one).Length;

    /// <summary>Everything but the profile fits.</summary>
    [Benchmark]
    public int MeasureStars() =>
        StarMeasurement.Measure(new StarRequest { Frame = frame, FitProfiles = ProfileFits.None }, one).Notes.Count;

    /// <summary>With a profile fit of every unsaturated star.</summary>
    [Benchmark]
    public int MeasureStarsAndFitProfiles() =>
        StarMeasurement.Measure(new StarRequest { Frame = frame, FitProfiles = ProfileFits.All }, one).Notes.Count;
}
