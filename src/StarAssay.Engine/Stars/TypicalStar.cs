using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Stars;

/// <summary>Size of the usual star in a frame, from a first look at some of its brighter peaks.</summary>
/// <param name="Variance">Median second moment (mean of both axes), px^2.</param>
/// <param name="NarrowVariance">Lower quarter of the second moments along the short axis, px^2.</param>
/// <param name="Hfr">Median half-flux radius, pixels.</param>
/// <param name="Stars">Stars behind it.</param>
internal sealed record TypicalStar(double Variance, double NarrowVariance, double Hfr, int Stars)
{
    private const int Wanted = 200;
    private const double FirstVariance = 2;
    private const double LargestRadius = 60;

    /// <summary>Three half-flux radii, at least 5 pixels.</summary>
    public double OuterRadius => Math.Clamp(Math.Ceiling(3 * Hfr), 5, LargestRadius);

    /// <summary>Takes the look.</summary>
    public static TypicalStar Of(Frame frame, BackgroundMesh mesh, Seed[] peaks)
    {
        Seed[] brightest = [.. peaks.OrderByDescending(s => s.Significance).ThenBy(s => s.Y).ThenBy(s => s.X).Take(8 * Wanted)];

        // The very brightest are often clipped; of the rest every so many, so that the whole range counts.
        int skip = brightest.Length / 50, step = Math.Max(1, (brightest.Length - skip) / Wanted);
        Seed[] chosen = [.. brightest.Skip(skip).Where((_, i) => i % step == 0)];
        double radius = 12;
        TypicalStar best = new(FirstVariance, 0.6, 1.6, 0);
        for (int round = 0; round < 3; round++)
        {
            best = Look(frame, mesh, chosen, radius, best);
            if (best.Stars < 3 || best.OuterRadius <= radius + 1)
            {
                break;
            }

            radius = best.OuterRadius;
        }

        return best;
    }

    private static TypicalStar Look(Frame frame, BackgroundMesh mesh, Seed[] chosen, double radius, TypicalStar start)
    {
        var meter = new StarMeter(new MeterSettings
        {
            Frame = frame,
            Mesh = mesh,
            Seeds = chosen,
            Grid = new SeedGrid(chosen, frame.Width, frame.Height, 16),
            Variance = start.Variance,
            NarrowVariance = start.NarrowVariance,
            OuterRadius = radius,
            SnrRadius = Math.Min(5, radius),
            SkySamples = mesh.SamplesPerCell,
            Gain = frame.GainElectronsPerAdu,
            Saturation = frame.SaturationAdu,
        });
        var variances = new List<double>();
        var narrow = new List<double>();
        var radii = new List<double>();
        for (int i = 0; i < chosen.Length; i++)
        {
            StarRecord star = meter.Measure(i);

            // Narrower than any star the pixels can carry: a hit, not a star.
            bool hit = Math.Sqrt(Math.Max(0, (star.Cxx * star.Cyy) - (star.Cxy * star.Cxy))) < 0.25 || star.Sharpness < 0.15;
            if (!hit && (star.Marks & (StarMarks.Saturated | StarMarks.NoShape | StarMarks.Edge)) == 0)
            {
                double half = 0.5 * (star.Cxx + star.Cyy), spread = Math.Sqrt((0.25 * (star.Cxx - star.Cyy) * (star.Cxx - star.Cyy)) + (star.Cxy * star.Cxy));
                variances.Add(half);
                narrow.Add(half - spread);
                radii.Add(star.HfrRecorded);
            }
        }

        if (variances.Count < 3)
        {
            return start with { Stars = variances.Count };
        }

        variances.Sort();
        narrow.Sort();
        radii.Sort();
        return new TypicalStar(variances[variances.Count / 2], Math.Max(0.15, narrow[narrow.Count / 4]), radii[radii.Count / 2], variances.Count);
    }
}
