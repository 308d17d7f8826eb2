using System.Runtime.Intrinsics;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Finds peaks of the smoothed frame above a threshold. The frame is read once, in bands of rows that run in parallel;
/// nothing of the frame's size is allocated.
/// </summary>
internal sealed unsafe class SeedFinder
{
    private const int BandRows = 128;
    private const int ThresholdRows = 8;

    // A lone bright pixel: the brighter pair of its opposite neighbors holds less than this share of it. The sharpest
    // star that can be measured (half-flux radius 0.7 pixels, centered on a pixel) gives 0.25.
    private const float LonePixel = 0.12f;

    private readonly Frame frame;
    private readonly RowDecoder decoder;
    private readonly BackgroundMesh mesh;
    private readonly MatchedFilter filter;
    private readonly double noiseFactor;
    private readonly double threshold;

    /// <summary>Prepares a search.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="mesh">Its sky.</param>
    /// <param name="filter">The smoothing.</param>
    /// <param name="threshold">Significance that a peak must have.</param>
    public SeedFinder(Frame frame, BackgroundMesh mesh, MatchedFilter filter, double threshold)
    {
        this.frame = frame;
        this.mesh = mesh;
        this.filter = filter;
        this.threshold = threshold;
        decoder = new RowDecoder(frame.Pixels);
        Correlation = NoiseCorrelation();
        noiseFactor = filter.NoiseGain * Correlation;
    }

    /// <summary>Noise of the filtered sky over what independent pixels would give; above 1 in resampled or
    /// color-interpolated frames.</summary>
    public double Correlation { get; }

    /// <summary>Noise of the filtered sky over the noise of a pixel.</summary>
    public double FilteredNoise => noiseFactor;

    /// <summary>All peaks, row by row.</summary>
    public Seed[] Find(RunContext context)
    {
        int bands = (frame.Height + BandRows - 1) / BandRows;
        var found = new List<Seed>[bands];
        Parallel.For(0, bands, context.Parallel, band =>
        {
            var work = new Band(this, band * BandRows, Math.Min(frame.Height, (band + 1) * BandRows));
            found[band] = work.Run();
        });
        return [.. found.SelectMany(seeds => seeds)];
    }

    /// <summary>Measures how much more the filtered sky scatters than independent pixels would: 49 tiles, median.</summary>
    private double NoiseCorrelation()
    {
        // Inner is a multiple of the rows smoothed at once.
        const int Side = 36, Inner = Side - 4, Across = 7;
        if (frame.Width < Side || frame.Height < Side)
        {
            return 1;
        }

        int tilesX = Math.Min(Across, frame.Width / Side), tilesY = Math.Min(Across, frame.Height / Side);
        float[] tile = new float[Side * Side], values = new float[Inner * Inner];
        float[] work = new float[MatchedFilter.Rows * (Side + (3 * MatchedFilter.Slack))], smooth = new float[MatchedFilter.Rows * (Side + MatchedFilter.Slack)], limit = new float[Side + MatchedFilter.Slack];
        int[] unused = new int[Side];
        Array.Fill(limit, float.PositiveInfinity);
        var ratios = new List<double>();
        float** rows = stackalloc float*[MatchedFilter.Inputs], works = stackalloc float*[MatchedFilter.Rows], outputs = stackalloc float*[MatchedFilter.Rows];
        int** lists = stackalloc int*[MatchedFilter.Rows];
        int* counts = stackalloc int[MatchedFilter.Rows];
        for (int tj = 0; tj < tilesY; tj++)
        {
            for (int ti = 0; ti < tilesX; ti++)
            {
                int x0 = (int)((ti + 0.5) * frame.Width / tilesX) - (Side / 2), y0 = (int)((tj + 0.5) * frame.Height / tilesY) - (Side / 2);
                x0 = Math.Clamp(x0, 0, frame.Width - Side);
                y0 = Math.Clamp(y0, 0, frame.Height - Side);
                for (int y = 0; y < Side; y++)
                {
                    decoder.Decode(y0 + y, x0, tile.AsSpan(y * Side, Side));
                }

                if (Array.Exists(tile, v => !float.IsFinite(v)))
                {
                    continue;
                }

                fixed (float* t = tile, w = work, s = smooth, l = limit)
                fixed (int* u = unused)
                {
                    for (int y = 0; y < Inner; y += MatchedFilter.Rows)
                    {
                        for (int k = 0; k < MatchedFilter.Inputs; k++)
                        {
                            rows[k] = t + ((y + k) * Side);
                        }

                        for (int k = 0; k < MatchedFilter.Rows; k++)
                        {
                            works[k] = w + (k * (Side + (3 * MatchedFilter.Slack))) + MatchedFilter.Slack;
                            outputs[k] = s + (k * (Side + MatchedFilter.Slack));
                            lists[k] = u;
                        }

                        filter.Smooth(rows, Side, works, outputs, l, lists, counts);
                        for (int k = 0; k < MatchedFilter.Rows; k++)
                        {
                            new ReadOnlySpan<float>(outputs[k] + 2, Inner).CopyTo(values.AsSpan((y + k) * Inner));
                        }
                    }
                }

                double pixel = BackgroundEstimator.Robust(tile, float.NaN, float.NaN).Noise;
                if (pixel > 0)
                {
                    ratios.Add(BackgroundEstimator.Robust(values, float.NaN, float.NaN).Noise / (pixel * filter.NoiseGain));
                }
            }
        }

        if (ratios.Count == 0)
        {
            return 1;
        }

        ratios.Sort();
        return Math.Clamp(ratios[ratios.Count / 2], 1, 4);
    }

    /// <summary>One band of rows, with its own rings of rows.</summary>
    private sealed class Band
    {
        // Power of two, with room for what one step reads (8 rows) and what judging a peak looks back at (4).
        private const int Ring = 16;
        private const int SmoothRing = 8;
        private readonly SeedFinder owner;
        private readonly int first;
        private readonly int last;
        private readonly int width;
        private readonly int height;
        private readonly float[][] pixels = new float[Ring][];
        private readonly float[][] smooth = new float[SmoothRing][];
        private readonly float[][] work = new float[MatchedFilter.Rows][];
        private readonly float[] limit;
        private readonly int[][] columns = new int[SmoothRing][];
        private readonly int[] counts = new int[SmoothRing];
        private readonly nint[] rowAt = new nint[Ring];
        private readonly List<Seed> seeds = [];
        private readonly bool plain;
        private readonly bool masked;

        public Band(SeedFinder owner, int first, int last)
        {
            this.owner = owner;
            this.first = first;
            this.last = last;
            width = owner.frame.Width;
            height = owner.frame.Height;
            plain = owner.decoder.IsPlain;
            masked = !owner.frame.Mask.IsEmpty;
            int room = width + (3 * MatchedFilter.Slack);
            for (int i = 0; i < SmoothRing; i++)
            {
                smooth[i] = GC.AllocateUninitializedArray<float>(room, pinned: true);
                columns[i] = GC.AllocateUninitializedArray<int>(width, pinned: true);
            }

            for (int i = 0; i < MatchedFilter.Rows; i++)
            {
                work[i] = GC.AllocateUninitializedArray<float>(room, pinned: true);
            }

            limit = GC.AllocateUninitializedArray<float>(room, pinned: true);
            Array.Fill(limit, float.PositiveInfinity);
        }

        public List<Seed> Run()
        {
            using System.Buffers.MemoryHandle pin = owner.frame.Pixels.Bytes.Pin();
            byte* bytes = (byte*)pin.Pointer;
            float** inputs = stackalloc float*[MatchedFilter.Inputs], works = stackalloc float*[MatchedFilter.Rows], outputs = stackalloc float*[MatchedFilter.Rows];
            int** lists = stackalloc int*[MatchedFilter.Rows];
            int* found = stackalloc int[MatchedFilter.Rows];

            // One row more on either side, since a peak is compared with its neighbors.
            int from = Math.Max(0, first - 1), to = Math.Min(height, last + 1);
            int fetched = Math.Max(0, from - 2);
            int judged = first;
            if (from == 0)
            {
                Array.Fill(smooth[SmoothRing - 1], float.NegativeInfinity);
            }

            for (int y = from; y < to; y += MatchedFilter.Rows)
            {
                // The last step may smooth rows beyond the band; beyond the frame the last row repeats.
                for (int end = Math.Min(height, y + MatchedFilter.Rows + 2); fetched < end; fetched++)
                {
                    Fetch(fetched, bytes);
                }

                int middle = Math.Min(height - 1, y + (MatchedFilter.Rows / 2));
                if (y == from || (y - from) % ThresholdRows == 0)
                {
                    owner.mesh.FillRow(middle, (float)(owner.threshold * owner.noiseFactor), limit.AsSpan(0, width));
                }

                for (int k = 0; k < MatchedFilter.Rows; k++)
                {
                    works[k] = Pointer(work[k]) + MatchedFilter.Slack;
                    outputs[k] = Pointer(smooth[(y + k) % SmoothRing]) + MatchedFilter.Slack;
                    lists[k] = PointerOf(columns[(y + k) % SmoothRing]);
                }

                Point(inputs, y);
                nint ahead = plain ? (nint)MatchedFilter.Rows * width * sizeof(float) : 0;
                if (!owner.filter.Smooth(inputs, width, works, outputs, Pointer(limit), lists, found, ahead))
                {
                    for (int k = 0; k < MatchedFilter.Inputs; k++)
                    {
                        Copy(Math.Clamp(y + k - 2, 0, height - 1));
                    }

                    Point(inputs, y);
                    owner.filter.Smooth(inputs, width, works, outputs, Pointer(limit), lists, found);
                }

                for (int k = 0; k < MatchedFilter.Rows; k++)
                {
                    counts[(y + k) % SmoothRing] = found[k];
                    outputs[k][-1] = outputs[k][width] = float.NegativeInfinity;
                }

                // All rows but the last of this step have both neighbors.
                int ready = Math.Min(last, y + MatchedFilter.Rows - 1);
                if (y + MatchedFilter.Rows >= height)
                {
                    Array.Fill(smooth[height % SmoothRing], float.NegativeInfinity);
                    ready = last;
                }

                for (; judged < ready; judged++)
                {
                    Peaks(judged);
                }
            }

            return seeds;
        }

        private void Point(float** inputs, int y)
        {
            for (int k = 0; k < MatchedFilter.Inputs; k++)
            {
                inputs[k] = (float*)rowAt[Math.Clamp(y + k - 2, 0, height - 1) % Ring];
            }
        }

        // These arrays are pinned for life, so their addresses may be kept.
        private static float* Pointer(float[] pinned) => (float*)System.Runtime.CompilerServices.Unsafe.AsPointer(ref pinned[0]);

        private static int* PointerOf(int[] pinned) => (int*)System.Runtime.CompilerServices.Unsafe.AsPointer(ref pinned[0]);

        /// <summary>Makes row y ready: in place when it can be, else decoded. NaN is left for the filter to find.</summary>
        private void Fetch(int y, byte* bytes)
        {
            if (masked && owner.frame.Mask.Span.Slice(y * width, width).ContainsAnyExcept((byte)0))
            {
                Copy(y);
            }
            else if (plain)
            {
                rowAt[y % Ring] = (nint)(bytes + ((long)y * width * sizeof(float)));
            }
            else
            {
                owner.decoder.Decode(y, 0, Own(y));
            }
        }

        /// <summary>A row in memory of our own, holes filled by the sky.</summary>
        private void Copy(int y)
        {
            float[] target = Own(y);
            owner.decoder.Decode(y, 0, target);
            Patch(y, target);
        }

        private float[] Own(int y)
        {
            int slot = y % Ring;
            pixels[slot] ??= GC.AllocateUninitializedArray<float>(width, pinned: true);
            rowAt[slot] = (nint)Pointer(pixels[slot]);
            return pixels[slot];
        }

        private void Patch(int y, float[] row)
        {
            float[] sky = new float[width];
            owner.mesh.FillRow(y, 0, sky);
            ReadOnlySpan<byte> mask = masked ? owner.frame.Mask.Span.Slice(y * width, width) : default;
            for (int x = 0; x < width; x++)
            {
                if (!float.IsFinite(row[x]) || (masked && mask[x] != 0))
                {
                    row[x] = sky[x];
                }
            }
        }

        private void Peaks(int y)
        {
            float* above = Pointer(smooth[(y + SmoothRing - 1) % SmoothRing]) + MatchedFilter.Slack;
            float* here = Pointer(smooth[y % SmoothRing]) + MatchedFilter.Slack;
            float* below = Pointer(smooth[(y + 1) % SmoothRing]) + MatchedFilter.Slack;
            int[] found = columns[y % SmoothRing];
            for (int k = 0; k < counts[y % SmoothRing]; k++)
            {
                int x = found[k];
                float v = here[x];

                // Larger than what came before, at least as large as what follows: of equal neighbors one is taken.
                if (v > here[x - 1] && v >= here[x + 1]
                    && v > above[x - 1] && v > above[x] && v > above[x + 1]
                    && v >= below[x - 1] && v >= below[x] && v >= below[x + 1])
                {
                    SkySample sky = owner.mesh.At(x, y);
                    float height = v - (float)sky.Level, noise = (float)(sky.Noise * owner.noiseFactor);
                    float significance = height / noise;
                    if (significance >= owner.threshold && !IsLonePixel(x, y, (float)sky.Level, (float)sky.Noise))
                    {
                        seeds.Add(new Seed(x, y, height, significance));
                    }
                }
            }
        }

        private float At(int x, int y) => ((float*)rowAt[Math.Clamp(y, 0, height - 1) % Ring])[Math.Clamp(x, 0, width - 1)];

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
