using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Finds stars that are far larger than the smoothing that single pixels get: discs and rings out of focus, of which each would
/// be found as several peaks.
/// </summary>
internal static class LargeStars
{
    /// <summary>Stars of this diameter and more are sought on binned pixels when nearly all are so large.</summary>
    public const double FromDiameter = 7;

    // A binned star is about so many pixels wide; then the hole of a ring is filled by the smoothing.
    private const double BinnedDiameter = 4;
    private const int LargestBin = 16;

    // Two discs nearer than this share of their diameter are one to us.
    private const double OwnShare = 0.9;
    private const int FewestCells = 4;

    // A ring's middle may lie lower than its rim by this much.
    private const double RingDip = 0.25;

    // Where less than this share of the bright objects is small, the frame is out of focus as a whole.
    private const double SmallShare = 0.2;
    private const double LargeShare = 0.8;
    private const double NearlyAll = 0.95;
    private const double MostShare = 0.6;
    private const double MoreSizes = 1.3;
    private const double GatherFrom = 4.5;
    private const double SameCenter = 0.3;
    private const double SameSize = 0.35;

    /// <summary>Diameter that nearly all bright objects exceed when the whole frame is out of focus, else 0.</summary>
    public static double WholeFrame(double[] diameters)
    {
        double low = diameters.Length == 0 ? 0 : diameters[(int)(SmallShare * diameters.Length)];
        return low >= FromDiameter ? diameters[diameters.Length / 2] : 0;
    }

    /// <summary>Whether some stars are large, as in a tilted or curved field.</summary>
    public static bool Some(double[] diameters) => diameters.Length > 0 && diameters[(int)(LargeShare * diameters.Length)] >= FromDiameter;

    /// <summary>Whether some stars are large before a sky with structure, whose knots and threads are large, too: where stars are in focus most objects
    /// are about as wide as the compact ones.</summary>
    public static bool SomeOfManySizes(double[] diameters) => Some(diameters)
        && diameters[(int)(MostShare * diameters.Length)] > MoreSizes * diameters[(int)(SmallShare * diameters.Length)];

    /// <summary>Diameter that some bright objects have, as in a tilted or curved field, pixels.</summary>
    public static double Largest(double[] diameters) => diameters.Length > 0 ? diameters[(int)(NearlyAll * diameters.Length)] : 0;

    /// <summary>Side of cells of sky that such stars leave mostly free, pixels.</summary>
    public static int CellSize(double diameter, int asked, Frame frame) =>
        Math.Clamp((int)Math.Ceiling(6 * diameter), asked, Math.Max(asked, Math.Min(frame.Width, frame.Height) / FewestCells));

    /// <summary>Stars of that diameter.</summary>
    /// <returns>One seed a star, row by row, in pixels of the frame.</returns>
    public static Seed[] Find(Frame frame, double diameter, double threshold, int cellSize, RunContext context)
    {
        int bin = Math.Clamp((int)(diameter / BinnedDiameter), 1, LargestBin);
        Frame small = Binned(frame, bin, context);
        BackgroundMesh mesh = BackgroundEstimator.Estimate(small, Math.Max(8, cellSize / bin), context);
        var finder = new SeedFinder(small, mesh, new MatchedFilter(1), threshold, context, 1);
        Seed[] peaks = finder.Find(context);
        peaks = new SeedMerger(small, mesh, 1, finder.FilteredNoise, RingDip).Merge(peaks, diameter / bin / 2.5, context);
        // On the rim the smoothing repeats the last pixel and scatters more; a disc with its middle there is cut anyway.
        peaks = [.. peaks.Where(p => p.X > 0 && p.Y > 0 && p.X < small.Width - 1 && p.Y < small.Height - 1)];
        peaks = OneEach(peaks, small, OwnShare * diameter / bin);
        Seed[] seeds = [.. peaks.Select(p => p with { X = (p.X * bin) + (bin / 2), Y = (p.Y * bin) + (bin / 2), Diameter = (float)diameter })];
        return [.. seeds.Where(s => s.X < frame.Width && s.Y < frame.Height)];
    }

    /// <summary>Leaves of peaks nearer to each other than most of a disc the brightest.</summary>
    private static Seed[] OneEach(Seed[] peaks, Frame frame, double reach)
    {
        var grid = new SeedGrid(peaks, frame.Width, frame.Height);
        var near = new List<int>();
        bool[] dropped = new bool[peaks.Length];
        foreach (int a in Seed.BySignificance(peaks))
        {
            if (!dropped[a])
            {
                grid.Near(peaks[a].X, peaks[a].Y, reach, near);
                near.ForEach(b => dropped[b] = b != a || dropped[b]);
            }
        }

        return [.. peaks.Where((_, i) => !dropped[i])];
    }

    /// <summary>Makes one seed of those that stand on the same disc or ring.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="mesh">Its sky.</param>
    /// <param name="peaks">Peaks, row by row.</param>
    /// <param name="context">Threads.</param>
    public static Seed[] Gather(Frame frame, BackgroundMesh mesh, Seed[] peaks, RunContext context)
    {
        Blob[] blobs = Blobs.Measure(frame, mesh, peaks, context);
        var grid = new SeedGrid(peaks, frame.Width, frame.Height);
        var near = new List<int>();
        bool[] dropped = new bool[peaks.Length];
        Seed[] moved = (Seed[])peaks.Clone();
        foreach (int a in Seed.BySignificance(peaks))
        {
            Blob own = blobs[a];
            if (dropped[a] || !own.IsObject || own.Diameter < GatherFrom)
            {
                continue;
            }

            int x = Math.Clamp((int)Math.Round(own.X), 0, frame.Width - 1), y = Math.Clamp((int)Math.Round(own.Y), 0, frame.Height - 1);
            moved[a] = peaks[a] with { X = x, Y = y, Diameter = (float)own.Diameter };
            grid.Near(own.X, own.Y, 0.75 * own.Diameter, near);
            foreach (int b in near)
            {
                Blob other = blobs[b];
                dropped[b] |= b != a && SameArea(own, other);
            }
        }

        return [.. moved.Where((_, i) => !dropped[i]).OrderBy(s => s.Y).ThenBy(s => s.X)];
    }

    /// <summary>Whether two areas above half of a peak are one.</summary>
    public static bool SameArea(in Blob own, in Blob other) => other.IsObject
        && Math.Abs(other.X - own.X) + Math.Abs(other.Y - own.Y) < SameCenter * own.Diameter && Math.Abs(Math.Log(other.Diameter / own.Diameter)) < SameSize;

    /// <summary>Means of squares of pixels; NaN where none of them is good.</summary>
    public static Frame Binned(Frame frame, int bin, RunContext context)
    {
        int width = (frame.Width + bin - 1) / bin, height = (frame.Height + bin - 1) / bin;
        float[] pixels = new float[width * height];
        var reader = new FrameReader(frame);
        Sharing.For(height, context, () => (Row: new float[frame.Width], Count: new int[width]), (j, space) =>
        {
            Span<float> sums = pixels.AsSpan(j * width, width);
            Array.Clear(space.Count);
            for (int y = j * bin; y < Math.Min(frame.Height, (j + 1) * bin); y++)
            {
                reader.Row(y, 0, space.Row);
                for (int x = 0; x < frame.Width; x++)
                {
                    if (float.IsFinite(space.Row[x]))
                    {
                        sums[x / bin] += space.Row[x];
                        space.Count[x / bin]++;
                    }
                }
            }

            for (int i = 0; i < width; i++)
            {
                sums[i] = space.Count[i] > 0 ? sums[i] / space.Count[i] : float.NaN;
            }
        });
        return frame with
        {
            Pixels = RawPixels.FromFloats(pixels, width, height),
            Mask = default,
            GainElectronsPerAdu = frame.GainElectronsPerAdu * bin * bin,
        };
    }
}
