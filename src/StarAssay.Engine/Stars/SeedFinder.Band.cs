using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <content>What one worker does.</content>
internal sealed unsafe partial class SeedFinder
{
    // A lone bright pixel: the brighter pair of its opposite neighbors holds less than this share of it. The sharpest
    // star that can be measured (half-flux radius 0.7 pixels, centered on a pixel) gives 0.25.
    private const float LonePixel = 0.12f;

    private static readonly Spares<Space> Spaces = new(static (space, width) => space.Width == width, static width => new Space(width));

    /// <summary>Memory of one worker.</summary>
    /// <param name="width">Pixels of a row.</param>
    private sealed class Space(int width)
    {
        // Powers of two, with room for what one step reads (12 rows) and for what judging a peak looks back at.
        public const int Ring = 16;
        public const int HitRing = 16;

        public int Width => width;

        /// <summary>Decoded rows; made when the first is needed. Pinned for life.</summary>
        public float[]?[] Own { get; } = new float[Ring][];

        public RowHits[] Hits { get; } = [.. Enumerable.Range(0, HitRing).Select(_ => new RowHits(width))];

        public MatchedFilter.Screen Screen { get; } = new(width);

        public int[] Peaks { get; } = GC.AllocateUninitializedArray<int>(width);

        public float[] Threshold { get; } = GC.AllocateUninitializedArray<float>(width);
    }

    /// <summary>Goes through bands of rows, one after the other.</summary>
    /// <param name="owner">The search.</param>
    /// <param name="space">Memory to work in.</param>
    /// <param name="inPlace">Whether the frame's rows can be filtered where they lie; else each is decoded first.</param>
    private sealed class Band<TPixels>(SeedFinder owner, Space space, bool inPlace)
        where TPixels : struct, IStoredPixels
    {
        private const int Ring = Space.Ring;
        private const int HitRing = Space.HitRing;

        // See the filter's screen. It adds single-precision numbers as large as the sky, in a file's words those from BZERO on; by
        // thirty roundings of them its sums may err, so many operations there are on the way, and what it lets pass may not
        // depend on how pixels are stored.
        private const double BelowShare = 0.02;
        private const double Rounding = 32.0 / (1 << 24);
        private readonly int width = owner.frame.Width;
        private readonly int height = owner.frame.Height;
        private readonly float[]?[] own = space.Own;
        private readonly nint[] rowAt = new nint[Ring];
        private readonly RowHits[] hits = space.Hits;
        private readonly RowHits[] filled = new RowHits[MatchedFilter.Rows];
        private readonly MatchedFilter.Screen screen = space.Screen;
        private readonly int[] peaks = space.Peaks;
        private readonly float[] threshold = space.Threshold;
        private readonly float below = (float)Math.Max(
            BelowShare * owner.threshold * owner.noiseFactor * owner.mesh.LeastNoise, Rounding * (TPixels.RawZero + owner.mesh.LargestLevel));
        private List<Seed> seeds = [];

        public Space Space => space;

        public List<Seed> Run(int first, int last)
        {
            using System.Buffers.MemoryHandle pin = owner.frame.Pixels.Bytes.Pin();
            byte* bytes = (byte*)pin.Pointer;
            byte** inputs = stackalloc byte*[MatchedFilter.Inputs];
            seeds = [];

            // One row more on either side, since a peak is compared with its neighbors.
            int from = Math.Max(0, first - 1), to = Math.Min(height, last + 1);
            int fetched = Math.Max(0, from - MatchedFilter.Reach), judged = first;
            if (from == 0)
            {
                hits[HitRing - 1].Clear();
            }

            for (int y = from; y < to; y += MatchedFilter.Rows)
            {
                // The last step may smooth rows beyond the band; beyond the frame the last row repeats.
                for (int end = Math.Min(height, y + MatchedFilter.Rows + MatchedFilter.Reach); fetched < end; fetched++)
                {
                    Fetch(fetched, bytes);
                }

                if ((y - from) % ThresholdRows == 0)
                {
                    owner.mesh.FillLeast(y, Math.Min(height, y + ThresholdRows) - 1, (float)(owner.threshold * owner.noiseFactor), threshold);
                }

                Smooth(inputs, y);

                // All rows but the last of this step have both neighbors.
                int ready = Math.Min(last, y + MatchedFilter.Rows - 1);
                if (y + MatchedFilter.Rows >= height)
                {
                    hits[height % HitRing].Clear();
                    ready = last;
                }

                for (; judged < ready; judged++)
                {
                    Peaks(judged);
                }
            }

            return seeds;
        }

        private void Smooth(byte** inputs, int y)
        {
            for (int k = 0; k < MatchedFilter.Rows; k++)
            {
                filled[k] = hits[(y + k) % HitRing];
            }

            Point(inputs, y);
            fixed (float* t = threshold)
            {
                var limits = new MatchedFilter.Limits(t, below);
                if (!owner.filter.Find<TPixels>(inputs, width, limits, filled, screen, inPlace ? (nint)width * TPixels.Size : 0))
                {
                    for (int k = 0; k < MatchedFilter.Inputs; k++)
                    {
                        Copy(Math.Clamp(y + k - MatchedFilter.Reach, 0, height - 1));
                    }

                    Point(inputs, y);
                    owner.filter.Find<TPixels>(inputs, width, limits, filled, screen);
                }
            }
        }

        private void Point(byte** inputs, int y)
        {
            for (int k = 0; k < MatchedFilter.Inputs; k++)
            {
                inputs[k] = (byte*)rowAt[Math.Clamp(y + k - MatchedFilter.Reach, 0, height - 1) % Ring];
            }
        }

        /// <summary>Makes row y ready: in place when it can be, else decoded. NaN is left for the filter to find.</summary>
        private void Fetch(int y, byte* bytes)
        {
            if (!inPlace || owner.reader.Mask(y, 0, width).ContainsAnyExcept((byte)0))
            {
                Copy(y);
            }
            else
            {
                rowAt[y % Ring] = (nint)(bytes + ((long)y * width * TPixels.Size));
            }
        }

        /// <summary>A row of floats in memory of our own, holes filled by the sky.</summary>
        private void Copy(int y)
        {
            // These arrays are pinned for life, so their addresses may be kept.
            float[] row = own[y % Ring] ??= GC.AllocateUninitializedArray<float>(width, pinned: true);
            rowAt[y % Ring] = (nint)System.Runtime.CompilerServices.Unsafe.AsPointer(ref row[0]);
            owner.reader.Row(y, 0, row);
            float[]? sky = null;
            for (int x = 0; x < width; x++)
            {
                if (!float.IsFinite(row[x]))
                {
                    if (sky is null)
                    {
                        sky = new float[width];
                        owner.mesh.FillRow(y, 0, sky);
                    }

                    row[x] = sky[x];
                }
            }
        }

        /// <summary>Judges those pixels of a row above the threshold that none of their neighbors outshines.</summary>
        private void Peaks(int y)
        {
            RowHits here = hits[y % HitRing];
            int count = here.Peaks(hits[(y + HitRing - 1) % HitRing], hits[(y + 1) % HitRing], peaks);
            for (int k = 0; k < count; k++)
            {
                Judge(peaks[k], y, here.Values[peaks[k]]);
            }
        }

        private void Judge(int x, int y, float value)
        {
            SkySample sky = owner.mesh.At(x, y);
            float height = value - (float)sky.Level, noise = (float)(sky.Noise * owner.noiseFactor);
            float significance = height / noise;
            if (significance >= owner.threshold && !IsLonePixel(x, y, (float)sky.Level, (float)sky.Noise))
            {
                seeds.Add(new Seed(x, y, height, significance));
            }
        }

        private float At(int x, int y) =>
            TPixels.Load(ref *(byte*)rowAt[Math.Clamp(y, 0, height - 1) % Ring], Math.Clamp(x, 0, width - 1));

        /// <summary>A hot pixel or a sharp cosmic-ray hit: bright, with nearly nothing beside it in one direction.</summary>
        private bool IsLonePixel(int x, int y, float level, float noise)
        {
            int px = x, py = y;
            for (int j = -1; j <= 1; j++)
            {
                for (int i = -1; i <= 1; i++)
                {
                    if (At(x + i, y + j) > At(px, py))
                    {
                        (px, py) = (x + i, y + j);
                    }
                }
            }

            float peak = At(px, py) - level;
            float across = (0.5f * (At(px - 1, py) + At(px + 1, py))) - level;
            float along = (0.5f * (At(px, py - 1) + At(px, py + 1))) - level;
            return peak > 10 * noise && MathF.Min(across, along) < LonePixel * peak;
        }
    }
}
