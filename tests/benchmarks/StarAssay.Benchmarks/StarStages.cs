using System.Numerics.Tensors;
using System.Runtime.InteropServices;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Benchmarks;

/// <summary>Where the time of a star measurement goes: each stage by itself on 61 megapixels of floats with 5,800 stars, beside a
/// pass that only reads them. Least of some repeats.</summary>
internal static class StarStages
{
    private const int Width = 9576;
    private const int Height = 6388;
    private const double FilterSigma = 1;

    /// <summary>Prints milliseconds, stage by stage.</summary>
    public static void Run(int threads, int repeats)
    {
        Frame frame = Draw();
        var context = new RunContext(threads);
        var clock = new StageClock();
        for (int k = 0; k < repeats; k++)
        {
            Once(frame, context, clock);
        }

        Console.WriteLine($"{threads} threads");
        clock.Print();
    }

    private static void Once(Frame frame, RunContext context, StageClock clock)
    {
        clock.Time("reading the frame once", () => ReadOnce(frame, context));
        SkyCells cells = clock.Time("mesh of the sky", () => BackgroundEstimator.Measure(frame, 64, context));
        BackgroundMesh first = clock.Time("smoothing the mesh", () => BackgroundEstimator.Smooth(cells, context));
        SeedFinder finder = clock.Time("noise of the smoothed sky", () => new SeedFinder(frame, first, new MatchedFilter(FilterSigma), 5, context));
        Seed[] peaks = clock.Time("finding peaks", () => finder.Find(context));
        TypicalStar typical = clock.Time("typical star", () => TypicalStar.Of(frame, first, peaks, 0, 0, context));
        Seed[] seeds = clock.Time("merging peaks",
            () => new SeedMerger(frame, first, FilterSigma, finder.FilteredNoise).Merge(peaks, Math.Sqrt(typical.Variance), context));
        BackgroundMesh mesh = clock.Time("skirts out of the sky", () =>
        {
            SkyFromStars.TakeOut(cells, seeds, typical.Alpha, typical.Beta, typical.FilteredPeak(FilterSigma), context);
            return BackgroundEstimator.Smooth(cells, context);
        });
        MeterSettings settings = typical.Settings(frame, mesh, seeds, typical.OuterRadius);
        StarRecord[] stars = clock.Time("measuring every star", () => StarMeasurement.MeasureAll(settings, double.PositiveInfinity, context));
        var request = new StarRequest { Frame = frame, FitProfiles = ProfileFits.None };
        clock.Time("table, medians, zones", () => StarTable.Build(request, settings, stars, finder.Correlation, typical, context));
        clock.Time("all of it", () => StarMeasurement.Measure(request, context));
        clock.Time("all of it, with every profile fit", () => StarMeasurement.Measure(request with { FitProfiles = ProfileFits.All }, context));
    }

    private static long ReadOnce(Frame frame, RunContext context)
    {
        const int Parts = 64;
        long[] sums = new long[Parts];
        int length = frame.Pixels.Bytes.Length / (Parts * sizeof(long));
        Parallel.For(0, Parts, context.Parallel, part =>
            sums[part] = TensorPrimitives.Sum(MemoryMarshal.Cast<byte, long>(frame.Pixels.Bytes.Span).Slice(part * length, length)));
        return TensorPrimitives.Sum<long>(sums);
    }

    /// <summary>NumPy asks for huge pages for every large array; a frame out of Python has them, and stars are read faster.</summary>
    private static void AskForHugePages(byte[] pinned)
    {
        const int Aligned = 1 << 21, HugePage = 14;
        nint from = (Marshal.UnsafeAddrOfPinnedArrayElement(pinned, 0) + Aligned - 1) & ~(Aligned - 1);
        if (OperatingSystem.IsLinux() && AdviseMemory(from, pinned.Length - Aligned, HugePage) != 0)
        {
            Console.WriteLine("no huge pages");
        }
    }

    [DllImport("libc", EntryPoint = "madvise")]
    [DefaultDllImportSearchPaths(DllImportSearchPath.SafeDirectories)]
    private static extern int AdviseMemory(nint address, nint length, int advice);

    private static Frame Draw()
    {
        var random = new Random(20261);
        byte[] bytes = GC.AllocateUninitializedArray<byte>(Width * Height * sizeof(float), pinned: true);
        AskForHugePages(bytes);
        Span<float> sky = MemoryMarshal.Cast<byte, float>(bytes.AsSpan());
        for (int p = 0; p < sky.Length; p++)
        {
            // Four even numbers make a bell; standard deviation 34 as of 900 ADU of sky at 0.8 electrons per ADU.
            sky[p] = 900 + (59 * (random.NextSingle() + random.NextSingle() + random.NextSingle() + random.NextSingle() - 2));
        }

        for (int star = 0; star < 5800; star++)
        {
            // A Moffat profile of FWHM 3.2 and beta 3.5, fluxes by a power law.
            int cx = random.Next(20, Width - 20), cy = random.Next(20, Height - 20);
            double dx = random.NextDouble() - 0.5, dy = random.NextDouble() - 0.5;
            double peak = 0.068 * Math.Min(3e6, 3000 * Math.Pow(1 - random.NextDouble(), -1 / 0.9));
            for (int y = -14; y <= 14; y++)
            {
                for (int x = -14; x <= 14; x++)
                {
                    double r2 = ((x - dx) * (x - dx)) + ((y - dy) * (y - dy));
                    sky[((cy + y) * Width) + cx + x] += (float)(peak * Math.Pow(1 + (r2 / 11.7), -3.5));
                }
            }
        }

        return new Frame
        {
            Pixels = new RawPixels(bytes, PixelFormat.Float32, !BitConverter.IsLittleEndian, Width, Height),
            Name = "stages",
            SaturationAdu = 65535
        };
    }
}
