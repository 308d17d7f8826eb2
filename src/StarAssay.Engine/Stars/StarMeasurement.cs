using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>Finds every star of a frame and measures place, size and shape.</summary>
public static class StarMeasurement
{
    private const double FilterSigma = 1.0;
    private const int Block = 16;
    private const int BrightFits = 500;
    private const double LeastBrightSnr = 30;

    /// <summary>Measures the frame of the request.</summary>
    /// <exception cref="InputException">No frame, or an option out of range.</exception>
    /// <exception cref="CannotMeasureException">The frame holds no usable pixels or no noise.</exception>
    [Measurement("stars", "Star field")]
    public static StarField Measure(StarRequest request, RunContext context)
    {
        Frame frame = Check(request);
        context.Report(0.02, "sky");
        SkyCells cells = BackgroundEstimator.Measure(frame, request.CellSize, context);
        BackgroundMesh first = BackgroundEstimator.Smooth(cells, context);
        RequireNoise(first, frame);

        context.Report(0.2, "finding stars");
        var finder = new SeedFinder(frame, first, new MatchedFilter(FilterSigma), request.Threshold, context);
        Seed[] peaks = finder.Find(context);
        context.Cancel.ThrowIfCancellationRequested();

        context.Report(0.6, "measuring stars");
        TypicalStar typical = TypicalStar.Of(frame, first, peaks, context);
        Seed[] seeds = new SeedMerger(frame, first, FilterSigma, finder.FilteredNoise).Merge(peaks, Math.Sqrt(typical.Variance), context);
        SkyFromStars.TakeOut(cells, seeds, typical.Alpha, typical.Beta, typical.FilteredPeak(FilterSigma), context);
        BackgroundMesh mesh = BackgroundEstimator.Smooth(cells, context);
        double outer = double.IsNaN(request.OuterRadiusPx) ? typical.OuterRadius : request.OuterRadiusPx;
        MeterSettings settings = typical.Settings(frame, mesh, seeds, outer);
        StarRecord[] stars = MeasureAll(settings, FitSnr(request, settings, seeds), context);
        context.Report(0.95, "table");
        return StarTable.Build(request, settings, stars, finder.Correlation, typical, context);
    }

    /// <summary>Measures every seed; blocks of fixed size, so that the threads have no say in the result.</summary>
    internal static unsafe StarRecord[] MeasureAll(MeterSettings settings, double fitSnr, RunContext context)
    {
        int count = settings.Seeds.Length;
        var stars = new StarRecord[count];
        int blocks = (count + Block - 1) / Block;
        using System.Buffers.MemoryHandle pin = settings.Frame.Pixels.Bytes.Pin();
        nint address = (nint)pin.Pointer;
        bool[] alone = LoneSeeds.Find(settings.Seeds, settings.Frame.Width, StarMeter.Reach(settings));
        Sharing.For(blocks, context, () => new StarMeter(settings, address, alone), (block, meter) =>
        {
            for (int i = block * Block; i < Math.Min(count, (block + 1) * Block); i++)
            {
                if (i + 1 < count)
                {
                    meter.Prefetch(i + 1);
                }

                stars[i] = meter.Measure(i, fitSnr);
            }
        });
        return stars;
    }

    /// <summary>Signal-to-noise ratio from which on stars get a profile fit.</summary>
    private static double FitSnr(StarRequest request, MeterSettings settings, Seed[] seeds)
    {
        if (request.FitProfiles != ProfileFits.Bright)
        {
            return request.FitProfiles == ProfileFits.All ? double.NegativeInfinity : double.PositiveInfinity;
        }

        if (seeds.Length <= BrightFits)
        {
            return LeastBrightSnr;
        }

        // Significance of a peak stands for the ratio, which is not known yet: both grow alike with brightness.
        float[] ranks = [.. seeds.Select(s => s.Significance)];
        Array.Sort(ranks);
        double peak = ranks[^BrightFits], ratio = settings.SnrPerSignificance;
        return Math.Max(LeastBrightSnr, peak * ratio);
    }

    private static Frame Check(StarRequest request)
    {
        Frame frame = request.Frame ?? throw new InputException("stars.no-frame", "No frame was given. Hand one over.", "frame");
        frame.RequireConsistent();
        FieldRules.Require(request);
        if (request.Axis.Length is not (0 or 2))
        {
            throw new InputException("stars.axis", $"axis has {request.Axis.Length} numbers; give two, the column and the row of the optical axis.", "axis");
        }

        RequireIfGiven(request.FocalLengthMm, 1, 1e6, "focal_length_mm", "mm");
        RequireIfGiven(request.PixelScaleArcsecPerPx, 1e-4, 3600, "pixel_scale_arcsec_per_px", "arcsec / pix");
        RequireIfGiven(request.FilterWavelengthNm, 100, 30000, "filter_wavelength_nm", "nm");
        if (frame.Width < 8 || frame.Height < 8)
        {
            throw new InputException("stars.too-small", $"{frame.Name} is {frame.Width} x {frame.Height} pixels; stars need at least 8 x 8.", "frame", frame.Name);
        }

        return frame;
    }

    private static void RequireIfGiven(double value, double low, double high, string argument, string unit)
    {
        if (!double.IsNaN(value))
        {
            InputException.RequireRange(value, low, high, argument, unit);
        }
    }

    private static void RequireNoise(BackgroundMesh mesh, Frame frame)
    {
        for (int j = 0; j < mesh.Rows; j++)
        {
            for (int i = 0; i < mesh.Columns; i++)
            {
                if (mesh.Noise(i, j) > 0)
                {
                    return;
                }
            }
        }

        throw new CannotMeasureException("stars.no-noise",
            $"All pixels of {frame.Name} have the same value (about {mesh.Level(0, 0):G6} ADU): saturated or empty. Take the frame again with another exposure.", frame.Name);
    }
}
