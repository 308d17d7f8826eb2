using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
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

    // For the middle of a disc, in its diameter and pixels.
    private const double RingFrom = 0.8;
    private const double WeightShare = 0.35;
    private const double MostStep = 2;
    private const double MostMove = 0.2;
    private const int Rounds = 5;

    /// <summary>Peaks of pixels binned so that a disc is four of them, significant by what they stand out by to all sides.</summary>
    public static Seed[] Find(Frame frame, SkyCells fine, (BackgroundMesh Mesh, float[] Floor) sky, int bin, double threshold, RunContext context)
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
                double height = p.Height + floor.At(p.X, p.Y).Level - sky.Mesh.At(x, y).Level;
                kept.Add(new Seed(x, y, (float)Math.Max(height, contrasts[k]), (float)significance, bin * BinnedDiameter, shares[k] < SureShare));
            }
        }

        return [.. kept];
    }

    /// <summary>The mesh of a binned frame, of the darkest levels.</summary>
    public static BackgroundMesh Over(Frame frame, SkyCells fine, (BackgroundMesh Mesh, float[] Floor) sky, int bin)
    {
        float[] noise = [.. Enumerable.Range(0, fine.Level.Length).Select(k => sky.Mesh.Noise(k % fine.Columns, k / fine.Columns) / bin)];
        return new BackgroundMesh(frame.Width, frame.Height, fine.Columns, fine.Rows, sky.Floor, noise, fine.SamplesPerCell);
    }

    /// <summary>Of each cell what is darkest in it and the eight round it: a disc fills cells, but not so many.</summary>
    public static float[] Eroded(SkyCells fine)
    {
        float[] from = fine.Floor ?? fine.Level, least = (float[])from.Clone();
        for (int k = 0; k < least.Length; k++)
        {
            for (int j = Math.Max(0, (k / fine.Columns) - 1); j <= Math.Min(fine.Rows - 1, (k / fine.Columns) + 1); j++)
            {
                for (int i = Math.Max(0, (k % fine.Columns) - 1); i <= Math.Min(fine.Columns - 1, (k % fine.Columns) + 1); i++)
                {
                    least[k] = MathF.Min(least[k], from[(j * fine.Columns) + i]);
                }
            }
        }

        return least;
    }

    /// <summary>A disc at the middle of its light, found on binned pixels, brought there on the frame's own: moments under a Gaussian as wide as what
    /// the disc and its blur take, above the usual light of a ring beyond its rim.</summary>
    public static Seed Centered(Frame frame, Seed disc)
    {
        int half = (int)Math.Ceiling(disc.Diameter), side = (2 * half) + 1;
        double[] light = new FrameReader(frame).Region(disc.X - half, disc.Y - half, side, side);
        var ring = new List<float>();
        for (int k = 0; k < light.Length; k++)
        {
            double r = double.Hypot((k % side) - half, (k / side) - half);
            if (double.IsFinite(light[k]) && r > RingFrom * disc.Diameter && r <= half)
            {
                ring.Add((float)light[k]);
            }
        }

        double level = ring.Count > 0 ? Rank.Median([.. ring]) : 0, x = half, y = half, weight = WeightShare * disc.Diameter;
        for (int round = 0; round < Rounds; round++)
        {
            double sum = 0, sumX = 0, sumY = 0;
            for (int k = 0; k < light.Length; k++)
            {
                double dx = (k % side) - x, dy = (k / side) - y, w = Math.Exp(-((dx * dx) + (dy * dy)) / (2 * weight * weight)) * (light[k] - level);
                (sum, sumX, sumY) = double.IsFinite(w) ? (sum + w, sumX + (w * dx), sumY + (w * dy)) : (sum, sumX, sumY);
            }

            // The weight pulls the middle of a disc, D^2 / 16 wide, back by so much.
            double pull = 1 + (1 / (16 * WeightShare * WeightShare));
            (x, y) = sum > 0 ? (x + Math.Clamp(pull * sumX / sum, -MostStep, MostStep), y + Math.Clamp(pull * sumY / sum, -MostStep, MostStep)) : (x, y);
        }

        double most = MostMove * disc.Diameter;
        return Math.Abs(x - half) > most || Math.Abs(y - half) > most ? disc
            : disc with
            {
                X = Math.Clamp(disc.X + (int)Math.Round(x - half), 0, frame.Width - 1),
                Y = Math.Clamp(disc.Y + (int)Math.Round(y - half), 0, frame.Height - 1),
            };
    }
}
