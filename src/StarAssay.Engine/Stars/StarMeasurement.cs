using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>Finds every star of a frame and measures place, size and shape.</summary>
public static class StarMeasurement
{
    private const double FilterSigma = 1.0;
    private const int Block = 64;

    /// <summary>Measures the frame of the request.</summary>
    /// <exception cref="InputException">No frame, or an option out of range.</exception>
    /// <exception cref="CannotMeasureException">The frame holds no usable pixels or no noise.</exception>
    public static StarField Measure(StarRequest request, RunContext context)
    {
        Frame frame = Check(request);
        context.Report(0.02, "sky");
        BackgroundMesh mesh = BackgroundEstimator.Estimate(frame, request.CellSize, context);
        RequireNoise(mesh, frame);

        context.Report(0.2, "finding stars");
        var finder = new SeedFinder(frame, mesh, new MatchedFilter(FilterSigma), request.DetectionThreshold);
        Seed[] peaks = finder.Find(context);
        context.Cancel.ThrowIfCancellationRequested();

        context.Report(0.6, "measuring stars");
        TypicalStar typical = TypicalStar.Of(frame, mesh, peaks);
        Seed[] seeds = new SeedMerger(frame, mesh, FilterSigma, finder.FilteredNoise).Merge(peaks, Math.Sqrt(typical.Variance));
        double outer = double.IsNaN(request.OuterRadiusPx) ? typical.OuterRadius : request.OuterRadiusPx;
        var settings = new MeterSettings
        {
            Frame = frame,
            Mesh = mesh,
            Seeds = seeds,
            Grid = new SeedGrid(seeds, frame.Width, frame.Height, 16),
            Variance = typical.Variance,
            NarrowVariance = typical.NarrowVariance,
            OuterRadius = outer,
            SnrRadius = Math.Clamp(2 * typical.Hfr, 1.5, outer),
            SkySamples = 4 * mesh.SamplesPerCell,
            Gain = frame.GainElectronsPerAdu,
            Saturation = frame.SaturationAdu,
        };
        StarRecord[] stars = MeasureAll(settings, request, context);
        context.Report(0.95, "table");
        return StarTable.Build(request, settings, stars, finder.Correlation, typical);
    }

    private static StarRecord[] MeasureAll(MeterSettings settings, StarRequest request, RunContext context)
    {
        int count = settings.Seeds.Length;
        var stars = new StarRecord[count];
        int blocks = (count + Block - 1) / Block;
        Parallel.For(0, blocks, context.Parallel, () => new StarMeter(settings), (block, _, meter) =>
        {
            for (int i = block * Block; i < Math.Min(count, (block + 1) * Block); i++)
            {
                stars[i] = meter.Measure(i);
            }

            return meter;
        }, _ => { });
        return stars;
    }

    private static Frame Check(StarRequest request)
    {
        Frame frame = request.Frame ?? throw new InputException("stars.no-frame", "No frame was given. Hand one over.", "frame");
        frame.RequireConsistent();
        InputException.RequireRange(request.DetectionThreshold, 2, 1000, "detection_threshold", "sigma");
        InputException.RequireRange(request.CellSize, 8, 1024, "cell_size", "pix");
        if (!double.IsNaN(request.OuterRadiusPx))
        {
            InputException.RequireRange(request.OuterRadiusPx, 2, 200, "outer_radius_px", "pix");
        }

        if (frame.Width < 8 || frame.Height < 8)
        {
            throw new InputException("stars.too-small", $"{frame.Name} is {frame.Width} x {frame.Height} pixels; stars need at least 8 x 8.", "frame", frame.Name);
        }

        return frame;
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
