using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Finds discs and rings out of focus before a sky with structure, in a field of which other parts are in focus. Within the width of a compact
/// star a disc's light does not fall off, so that what tells stars from threads (<see cref="LonePeaks"/>) would take none, or single
/// ripples of its rim; at its own scale it stands out to all sides as a star does. So each scale is searched by itself, on binned pixels.
/// </summary>
internal static class LoneDiscs
{
    // Each 1.4 times the one before: a disc between two stands out at either.
    private static readonly int[] Bins = [2, 3, 4, 6, 8, 11];

    // Discs between two scales are found at the smaller one; those beyond the largest of the frame are none.
    private const double LeastPerWidth = 1.4;
    private const double MostPerLargest = 1.3;

    // Seen at the scale of its own width a star stands out most. That of a disc of 6 pixels gives 1.4 times what the smoothing of single
    // pixels does, two compact stars that it holds together 1.1 times.
    private const double Better = 1.25;
    private const double Inside = 0.6;

    // Peaks on an area above half of the peak that is so small are compact stars, however near they stand to each other, unless they are
    // ripples of something far more significant.
    private const double Compact = 4.5;
    private const double Ripple = 0.2;
    private const double SureStar = 10;

    // Light beyond a disc's rim, pixels.
    private const double Rim = 1.25;
    private const double Blur = 2;

    /// <summary>Puts one seed for each disc in place of the peaks on it.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="fine">Its sky in cells of some star widths, with the darkest parts.</param>
    /// <param name="mesh">The same, smoothed.</param>
    /// <param name="lone">Peaks that stand out within a compact star's width, row by row.</param>
    /// <param name="sizes">Width of the compact stars and of the largest objects, pixels.</param>
    /// <param name="limits">How the peaks were found.</param>
    /// <param name="context">Threads.</param>
    /// <returns>Seeds, row by row; those of discs have a diameter, and heights above <paramref name="mesh"/>.</returns>
    public static Seed[] Of(Frame frame, SkyCells fine, BackgroundMesh mesh, Seed[] lone, (double Width, double Largest) sizes, LonePeaks.Limits limits,
        RunContext context)
    {
        float[] floor = DiscScale.Eroded(fine);
        var found = new List<Seed>();
        foreach (int bin in Bins)
        {
            int diameter = bin * DiscScale.BinnedDiameter;
            if (diameter >= LeastPerWidth * sizes.Width && diameter <= MostPerLargest * Math.Max(sizes.Largest, 2 * DiscScale.BinnedDiameter))
            {
                found.AddRange(DiscScale.Find(frame, fine, (mesh, floor), bin, limits.Threshold, context));
            }
        }

        Seed[] peaks = ByContrast(frame, mesh, lone, sizes.Width, limits, context);

        // In the mesh itself a disc may be sky; the area above half of what is left would be a part of its rim.
        BackgroundMesh dark = DiscScale.Over(frame, fine, (mesh, floor), 1);
        Seed[] above = [.. lone.Select(p => p with { Height = (float)(p.Height + mesh.At(p.X, p.Y).Level - dark.At(p.X, p.Y).Level) })];
        Blob[] blobs = Blobs.Measure(frame, dark, above, context);
        bool[] part = new bool[peaks.Length];
        Seed[] discs = Larger(blobs, OneEach([.. found], frame), peaks, part, frame);
        int[] alone = [.. Enumerable.Range(0, peaks.Length).Where(k => !part[k])];
        bool IsStar(int k) => blobs[k].IsObject && blobs[k].Diameter is > 0 and < Compact && peaks[k].Significance > SureStar;
        var sizeAt = new SizeAround([.. alone.Select(k => peaks[k]), .. discs], [.. alone.Select(IsStar)], sizes.Width, mesh);
        Array.Clear(part);
        discs = Larger(blobs, OneEach([.. found.Where(sizeAt.Agrees)], frame), peaks, part, frame);
        if (!FocusParts.Apart(discs, [.. Enumerable.Range(0, peaks.Length).Where(k => !part[k] && IsStar(k)).Select(k => peaks[k])], frame))
        {
            return lone;
        }

        // Where stars are out of focus what is left are ripples, too, of discs that were not found by themselves.
        Seed Grown(Seed peak) => sizeAt.Of(peak) is var size && size >= Math.Max(LeastPerWidth * sizes.Width, Compact)
            ? peak with { Diameter = (float)size, Unsure = true } : peak;
        Seed[] left = [.. peaks.Where((_, k) => !part[k]).Select(Grown).Where(s => s.Diameter > 0)];
        part = [.. part.Select((p, k) => p || Grown(peaks[k]).Diameter > 0)];
        float most = discs.Max(d => d.Significance);
        discs = OneEach([.. discs.Select(d => d with { Significance = d.Significance + most }), .. left], frame);
        discs = [.. discs.Select(d => DiscScale.Centered(frame, d.Significance > most ? d with { Significance = d.Significance - most } : d))];
        return [.. Shared(lone, blobs, part, frame).Concat(discs).OrderBy(s => s.Y).ThenBy(s => s.X)];
    }

    /// <summary>The sky's cells measured again without the discs, which fill them.</summary>
    public static SkyCells SkyBehind(Frame frame, SkyCells fine, Seed[] seeds, RunContext context)
    {
        byte[] mask = frame.Mask.IsEmpty ? new byte[(long)frame.Width * frame.Height] : frame.Mask.ToArray();
        bool[] touched = new bool[fine.Level.Length];
        foreach (Seed disc in seeds.Where(s => s.Diameter > 0))
        {
            double reach = (0.5 * Rim * disc.Diameter) + Blur;
            for (int y = Math.Max(0, (int)Math.Ceiling(disc.Y - reach)); y <= Math.Min(frame.Height - 1, disc.Y + reach); y++)
            {
                double across = Math.Sqrt(Math.Max(0, (reach * reach) - ((y - disc.Y) * (y - disc.Y))));
                int from = Math.Max(0, (int)Math.Ceiling(disc.X - across)), to = Math.Min(frame.Width - 1, (int)(disc.X + across));
                for (int x = from; x <= to; x++)
                {
                    mask[(y * frame.Width) + x] = 1;
                    touched[fine.At(x, y)] = true;
                }
            }
        }

        return StructuredSky.Again(frame with { Mask = mask }, fine, touched, context);
    }

    private static Seed[] ByContrast(Frame frame, BackgroundMesh mesh, Seed[] peaks, double width, LonePeaks.Limits limits, RunContext context)
    {
        float[] contrasts = LonePeaks.Heights(frame, peaks, width, limits.FilterSigma, context);
        double noise = limits.Height / limits.Threshold;
        return [.. peaks.Select((p, k) => p with { Significance = (float)(contrasts[k] / (noise * mesh.At(p.X, p.Y).Noise)) })];
    }

    /// <summary>Of what was found at several scales that at which it stands out most.</summary>
    private static Seed[] OneEach(Seed[] found, Frame frame)
    {
        var grid = new SeedGrid(found, frame.Width, frame.Height);
        var near = new List<int>();
        bool[] dropped = new bool[found.Length];
        float widest = found.Length > 0 ? found.Max(s => s.Diameter) : 0;
        foreach (int a in Seed.BySignificance(found))
        {
            if (!dropped[a])
            {
                grid.Near(found[a].X, found[a].Y, Inside * widest, near);
                foreach (int b in near)
                {
                    double reach = Inside * Math.Max(found[a].Diameter, found[b].Diameter), dx = found[a].X - found[b].X, dy = found[a].Y - found[b].Y;
                    dropped[b] |= b != a && (dx * dx) + (dy * dy) < reach * reach;
                }
            }
        }

        return [.. found.Where((_, k) => !dropped[k])];
    }

    /// <summary>Discs that stand out more than any peak within them, none of which is a compact star.</summary>
    /// <param name="blobs">Areas of the peaks above the darkest levels.</param>
    /// <param name="discs">What was found at larger scales.</param>
    /// <param name="peaks">Peaks, significant by their contrast.</param>
    /// <param name="part">Receives which of these are parts of one.</param>
    /// <param name="frame">The frame.</param>
    private static Seed[] Larger(Blob[] blobs, Seed[] discs, Seed[] peaks, bool[] part, Frame frame)
    {
        var grid = new SeedGrid(peaks, frame.Width, frame.Height);
        var near = new List<int>();
        var kept = new List<Seed>();
        foreach (Seed disc in discs)
        {
            grid.Near(disc.X, disc.Y, Inside * disc.Diameter, near);
            bool Star(int k) => peaks[k].Significance * Better > disc.Significance
                || (blobs[k].Diameter is > 0 and < Compact && peaks[k].Significance > Ripple * disc.Significance);
            if (!near.Exists(Star))
            {
                near.ForEach(k => part[k] = true);
                kept.Add(disc);
            }
        }

        return [.. kept];
    }

    /// <summary>Small rings between the parts of a field in and out of focus: of peaks that share one area above half of them one is left, in its
    /// middle. A star on a thread has a peak of its own.</summary>
    private static List<Seed> Shared(Seed[] lone, Blob[] blobs, bool[] part, Frame frame)
    {
        var grid = new SeedGrid(lone, frame.Width, frame.Height);
        var near = new List<int>();
        var kept = new List<Seed>();
        bool[] taken = (bool[])part.Clone();
        for (int a = 0; a < lone.Length; a++)
        {
            if (taken[a])
            {
                continue;
            }

            Blob own = blobs[a];
            taken[a] = true;
            near.Clear();
            if (own.IsObject && own.Diameter >= Compact)
            {
                grid.Near(own.X, own.Y, Inside * own.Diameter, near);
                near.RemoveAll(b => taken[b] || !LargeStars.SameArea(own, blobs[b]));
                near.ForEach(b => taken[b] = true);
            }

            int x = Math.Clamp((int)Math.Round(own.X), 0, frame.Width - 1), y = Math.Clamp((int)Math.Round(own.Y), 0, frame.Height - 1);
            kept.Add(near.Count == 0 ? lone[a] : lone[a] with { X = x, Y = y, Diameter = (float)own.Diameter });
        }

        return kept;
    }
}
