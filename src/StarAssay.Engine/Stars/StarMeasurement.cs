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
    private const double LeastSnr = 10;
    private const int FewFits = 20;
    private const int FewestCells = 9;

    // Standard deviation of one of nine over that of their median: sqrt(9 x 2 / pi).
    private const double MedianGain = 2.4;

    /// <summary>Measures the frame of the request.</summary>
    /// <exception cref="InputException">No frame, or an option out of range.</exception>
    /// <exception cref="CannotMeasureException">The frame holds no usable pixels, no noise, or no star.</exception>
    [Measurement("stars", "Star field")]
    public static StarField Measure(StarRequest request, RunContext context)
    {
        Frame frame = Check(request);
        var lattice = ColorLattice.Of(request, frame);
        frame = lattice.Frame(context);
        context.Report(0.02, "sky");
        SkyCells cells = BackgroundEstimator.Measure(frame, request.CellSize, context);
        BackgroundMesh first = BackgroundEstimator.Smooth(cells, context);
        RequireNoise(first, frame);

        context.Report(0.2, "finding stars");
        var finder = new SeedFinder(frame, first, new MatchedFilter(FilterSigma), request.Threshold, context);
        Seed[] peaks = finder.Find(context);
        context.Cancel.ThrowIfCancellationRequested();
        if (double.IsNaN(frame.SaturationAdu))
        {
            frame = frame with { SaturationAdu = ClippingLevel.Of(frame, peaks) };
        }

        context.Report(0.6, "measuring stars");
        Seed[] seeds;
        TypicalStar typical;
        bool skyLeft;
        var limits = new LonePeaks.Limits(FilterSigma, request.Threshold, request.Threshold * finder.FilteredNoise);
        double[] diameters = Blobs.Diameters(frame, first, peaks, context);
        double disc = LargeStars.WholeFrame(diameters), compact = diameters.Length > 0 ? diameters[diameters.Length / 5] : 0;
        if (disc > 0)
        {
            // Threads between few stars are as large as discs.
            skyLeft = SkyThreads.In(frame, cells, peaks, LonePeaks.Of(frame, first, peaks, width: 0, limits, context), context) is not null;
            int side = LargeStars.CellSize(disc, request.CellSize, frame);
            cells = BackgroundEstimator.Measure(frame, side, context);
            first = BackgroundEstimator.Smooth(cells, context);
            seeds = LargeStars.Find(frame, disc, request.Threshold, side, context);
            typical = TypicalStar.Of(frame, first, seeds, disc, 0, context);
        }
        else
        {
            StructuredSky.Found? structure = StructuredSky.Measure(frame, cells, first, peaks, limits, context);
            skyLeft = structure is { Cells: null };
            if (structure is { Cells: SkyCells fine, Correlation: double mixed, Width: double width })
            {
                // Galaxies and nebulae become sky; what was found on the coarse one is found again.
                cells = fine;
                first = BackgroundEstimator.Smooth(cells, context);

                // Stars in dark lanes are found over what is darkest there.
                // Structure makes the smoothed sky scatter as if pixels had been mixed; by more than their neighbors show, they are not.
                double correlation = mixed > 0 ? Math.Clamp(mixed * mixed, 1, finder.Correlation) : finder.Correlation;
                BackgroundMesh dark = BackgroundEstimator.Dark(cells, first);
                finder = new SeedFinder(frame, dark, new MatchedFilter(FilterSigma), request.Threshold, context, correlation);
                limits = limits with { Height = request.Threshold * finder.FilteredNoise };
                peaks = LonePeaks.Of(frame, first, finder.Find(context, first), width, limits, context);
                compact = width;
                if (LargeStars.SomeOfManySizes(diameters))
                {
                    Seed[] gathered = LoneDiscs.Of(frame, cells, first, peaks, (width, LargeStars.Largest(diameters)), limits, context);
                    if (gathered != peaks)
                    {
                        cells = LoneDiscs.SkyBehind(frame, cells, gathered, context);
                        first = BackgroundEstimator.Smooth(cells, context);
                        peaks = gathered;
                    }
                }
            }

            // Lone peaks have fallen off within a star's width, as no disc does; the area above half of one may be a thread, and its middle no star.
            peaks = LargeStars.Some(diameters) && !cells.NoiseIsOfPixels ? LargeStars.Gather(frame, first, peaks, context) : peaks;
            Seed[] alone = cells.NoiseIsOfPixels ? Array.FindAll(peaks, s => s.Diameter > 0) : [], small = [.. peaks.Except(alone)];
            typical = TypicalStar.Of(frame, first, small.Length >= FewFits ? small : peaks, 0, compact, context);
            seeds = new SeedMerger(frame, first, FilterSigma, finder.FilteredNoise).Merge(small, Math.Sqrt(typical.Variance), context);

            // Discs were looked at by themselves; from the middle of one the light rises to its rim.
            seeds = alone.Length > 0 ? [.. seeds.Concat(alone).OrderBy(s => s.Y).ThenBy(s => s.X)] : seeds;
        }

        SkyFromStars.TakeOut(cells, seeds, typical.Alpha, typical.Beta, typical.FilteredPeak(FilterSigma), context);
        BackgroundMesh mesh = BackgroundEstimator.Smooth(cells, context);
        double outer = double.IsNaN(request.OuterRadiusPx)
            ? Crowding.Radius(seeds, new SeedGrid(seeds, frame.Width, frame.Height), typical.OuterRadius, 2 * typical.Variance)
                : request.OuterRadiusPx / lattice.Side;
        MeterSettings settings = typical.Settings(frame, mesh, seeds, outer) with
        {
            SkyLevelScatter = LevelScatter(cells, mesh),
            Lattice = lattice,
            SkyLeft = skyLeft,
        };
        settings = settings with { Around = cells.NoiseIsOfPixels ? LocalSky.Of(settings, typical, FilterSigma, context) : null };
        double fitSnr = FitSnr(request, settings, seeds);
        StarRecord[] stars = MeasureAll(settings, fitSnr, context);
        if (request.FitProfiles == ProfileFits.Bright && fitSnr == LeastBrightSnr && stars.Count(s => s.Fwhm > 0) < FewFits)
        {
            // Where bright stars are few (or clipped), fainter ones must tell the width.
            stars = MeasureAll(settings, LeastSnr, context);
        }

        context.Report(0.95, "table");
        return RequireStars(StarTable.Build(request, settings, stars, finder.Correlation, typical, context), frame.Name);
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

    /// <summary>How far a cell's level is off, in its noise: what cells differ from their smoothed surroundings by. In crowded fields and
    /// clouds that is far more than the noise of a mean.</summary>
    private static double LevelScatter(SkyCells cells, BackgroundMesh mesh)
    {
        var off = new List<float>(cells.Level.Length);
        for (int k = 0; k < cells.Level.Length; k++)
        {
            float noise = mesh.Noise(k % cells.Columns, k / cells.Columns), rest = cells.Level[k] - mesh.Level(k % cells.Columns, k / cells.Columns);
            if (rest != 0 && noise > 0)
            {
                off.Add(Math.Abs(rest) / noise);
            }
        }

        // The median of nine takes most of it out.
        return off.Count < FewestCells ? 0 : 1.4826 * Rank.Median([.. off]) / MedianGain;
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
            throw new InputException("stars.too-small", $"{frame.Name} is {frame.Width} x {frame.Height} pixels; stars need at least 8 x 8.", "frame",
                frame.Name);
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

    /// <summary>A frame without a single star that can be measured is no measurement.</summary>
    private static StarField RequireStars(StarField field, string name)
    {
        const StarMarks NoStar = StarMarks.CosmicRay | StarMarks.NotAStar;
        int Count(StarMarks mark) => field.Flags.Count(f => ((StarMarks)f & mark) != 0);
        if (field.Flags.Length == 0)
        {
            throw new CannotMeasureException("stars.none", $"No star was found on {name}. Expose longer, focus better, or lower the detection threshold.",
                name);
        }

        int hits = Count(StarMarks.CosmicRay), large = Count(StarMarks.NotAStar);
        if (Array.TrueForAll(field.Flags, f => ((StarMarks)f & NoStar) != 0))
        {
            throw new CannotMeasureException("stars.none",
                $"No star was found on {name}: of {field.Flags.Length} objects {hits} are sharper than optics can draw (cosmic rays, hot pixels) and " +
                    $"{large} too large. Expose longer, or check that the frame shows stars.", name);
        }

        if (Array.TrueForAll(field.Flags, f => ((StarMarks)f & (NoStar | StarMarks.Edge)) != 0))
        {
            throw new CannotMeasureException("stars.edge-only",
                $"{name} holds no whole star: {Count(StarMarks.Edge)} cut by the frame's edge{(hits > 0 ? $", {hits} cosmic rays or hot pixels" : "")}. Use " +
                    "a frame with stars away from its edges.", name);
        }

        return field;
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
            $"All pixels of {frame.Name} have the same value (about {mesh.Level(0, 0):G6} ADU): saturated or empty. Take the frame again with another " +
                "exposure.", frame.Name);
    }
}
