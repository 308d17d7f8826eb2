using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>Finds what stands out at the scale of one size of disc, on pixels binned so that a disc is four of them.</summary>
internal static class DiscScale
{
    // A disc is so many binned pixels wide; its smoothed light has fallen off at 1.25 times three of them from its middle.
    public const int BinnedDiameter = 4;
    public const double BinnedWidth = 3;

    // So much of what it stands above the usual light round it a disc stands above all of that light.
    private const double LeastShare = 0.5;

    // Of drawn discs before threads nine in ten have more than this, of what is found where there is none a third.
    private const double SureShare = 0.85;

    /// <summary>Peaks of pixels binned so that a disc is four of them, significant by what they stand out by to all sides.</summary>
    public static Seed[] Find(Frame frame, SkyCells fine, BackgroundMesh sky, int bin, double threshold, RunContext context)
    {
        Frame small = LargeStars.Binned(frame, bin, context);
        if (small.Width < 2 * BinnedDiameter || small.Height < 2 * BinnedDiameter)
        {
            return [];
        }

        BackgroundMesh floor = Over(small, fine, sky, bin);
        var finder = new SeedFinder(small, floor, new MatchedFilter(1), threshold, context, 1);
        var limits = new LonePeaks.Limits(1, threshold, threshold * finder.FilteredNoise);
        Seed[] peaks = finder.Find(context);
        float[] contrasts = LonePeaks.Heights(small, peaks, BinnedWidth, 1, context);
        float[] shares = LonePeaks.Shares(small, peaks, BinnedWidth, 1, context);
        var kept = new List<Seed>();
        for (int k = 0; k < peaks.Length; k++)
        {
            Seed p = peaks[k];
            double own = floor.At(p.X, p.Y).Noise, significance = contrasts[k] / (finder.FilteredNoise * own);
            int x = (p.X * bin) + (bin / 2), y = (p.Y * bin) + (bin / 2);
            if (significance > limits.Threshold && shares[k] > LeastShare && p.X > 0 && p.Y > 0 && p.X < small.Width - 1 && p.Y < small.Height - 1)
            {
                double height = p.Height + floor.At(p.X, p.Y).Level - sky.At(x, y).Level;
                kept.Add(new Seed(x, y, (float)Math.Max(height, contrasts[k]), (float)significance, bin * BinnedDiameter, shares[k] < SureShare));
            }
        }

        return [.. kept];
    }

    /// <summary>The mesh of a binned frame, of the darkest levels.</summary>
    public static BackgroundMesh Over(Frame frame, SkyCells fine, BackgroundMesh sky, int bin)
    {
        float[] noise = [.. Enumerable.Range(0, fine.Level.Length).Select(k => sky.Noise(k % fine.Columns, k / fine.Columns) / bin)];
        return new BackgroundMesh(frame.Width, frame.Height, fine.Columns, fine.Rows, fine.Floor ?? fine.Level, noise, fine.SamplesPerCell);
    }
}
