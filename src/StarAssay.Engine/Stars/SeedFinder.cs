using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Finds peaks of the smoothed frame above a threshold. The frame is read once, in bands of rows that run in parallel;
/// nothing of the frame's size is allocated.
/// </summary>
internal sealed unsafe partial class SeedFinder
{
    // With a row more on either side, a whole number of steps.
    private const int BandRows = (16 * MatchedFilter.Rows) - 2;
    private const int ThresholdRows = 2 * MatchedFilter.Rows;

    private readonly Frame frame;
    private readonly FrameReader reader;
    private readonly BackgroundMesh mesh;
    private readonly MatchedFilter filter;
    private readonly double noiseFactor;
    private readonly double threshold;

    /// <summary>Prepares a search.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="mesh">Its sky.</param>
    /// <param name="filter">The smoothing.</param>
    /// <param name="threshold">Significance that a peak must have.</param>
    /// <param name="context">Threads.</param>
    /// <param name="correlation">Noise of the filtered sky over what independent pixels would give; NaN: measured.</param>
    public SeedFinder(Frame frame, BackgroundMesh mesh, MatchedFilter filter, double threshold, RunContext context, double correlation = double.NaN)
    {
        this.frame = frame;
        this.mesh = mesh;
        this.filter = filter;
        this.threshold = threshold;
        reader = new FrameReader(frame);
        Correlation = double.IsNaN(correlation) ? NoiseCorrelation(context) : correlation;
        noiseFactor = filter.NoiseGain * Correlation;
    }

    /// <summary>Noise of the filtered sky over what independent pixels would give; above 1 in resampled or
    /// color-interpolated frames.</summary>
    public double Correlation { get; }

    /// <summary>Noise of the filtered sky over the noise of a pixel.</summary>
    public double FilteredNoise => noiseFactor;

    /// <summary>All peaks, row by row, their heights above another sky than the one they were found over.</summary>
    public Seed[] Find(RunContext context, BackgroundMesh above)
    {
        Seed Over(Seed seed)
        {
            SkySample sky = above.At(seed.X, seed.Y);
            double height = seed.Height + mesh.At(seed.X, seed.Y).Level - sky.Level;
            return seed with { Height = (float)height, Significance = (float)(height / (noiseFactor * sky.Noise)) };
        }

        return [.. Find(context).Select(Over)];
    }

    /// <summary>All peaks, row by row.</summary>
    public Seed[] Find(RunContext context) => StoredFormats.Of(frame.Pixels) switch
    {
        StoredFormat.Float => Find<StoredFloat>(context, inPlace: true),
        StoredFormat.UInt16 when frame.Mask.IsEmpty => Find<StoredUInt16>(context, inPlace: true),
        StoredFormat.FileUInt16 when frame.Mask.IsEmpty => Find<StoredFileUInt16>(context, inPlace: true),
        _ => Find<StoredFloat>(context, inPlace: false),
    };

    private Seed[] Find<TPixels>(RunContext context, bool inPlace)
        where TPixels : struct, IStoredPixels
    {
        int bands = (frame.Height + BandRows - 1) / BandRows;
        var found = new List<Seed>[bands];
        Sharing.For(bands, context, () => new Band<TPixels>(this, Spaces.Take(frame.Width), inPlace),
            (band, worker) => found[band] = worker.Run(band * BandRows, Math.Min(frame.Height, (band + 1) * BandRows)),
            worker => Spaces.GiveBack(worker.Space));
        return [.. found.SelectMany(seeds => seeds)];
    }

    /// <summary>Measures how much more the filtered sky scatters than independent pixels would: 49 tiles, their lower quartile, since stars and clouds
    /// add to it in places and resampling everywhere.</summary>
    private double NoiseCorrelation(RunContext context)
    {
        const int Across = 7, Side = NoiseTile.Side;
        if (frame.Width < Side || frame.Height < Side)
        {
            return 1;
        }

        int tilesX = Math.Min(Across, frame.Width / Side), tilesY = Math.Min(Across, frame.Height / Side);
        double[] ratios = new double[tilesX * tilesY];
        Sharing.For(ratios.Length, context, () => new NoiseTile(this), (k, tile) =>
        {
            int x0 = (int)(((k % tilesX) + 0.5) * frame.Width / tilesX) - (Side / 2), y0 = (int)(((k / tilesX) + 0.5) * frame.Height / tilesY) - (Side / 2);
            ratios[k] = tile.Ratio(Math.Clamp(x0, 0, frame.Width - Side), Math.Clamp(y0, 0, frame.Height - Side));
        });
        double[] good = Array.FindAll(ratios, double.IsFinite);
        Array.Sort(good);
        return good.Length == 0 ? 1 : Math.Clamp(good[good.Length / 4], 1, 4);
    }

    /// <summary>Work space for small squares of sky.</summary>
    private sealed class NoiseTile(SeedFinder owner)
    {
        // Inner is a multiple of the rows smoothed at once.
        public const int Side = 36;
        private const int Inner = Side - (2 * MatchedFilter.Reach);

        // Beyond the reach of the smoothing.
        private const int Apart = (2 * MatchedFilter.Reach) + 2;
        private readonly float[] tile = new float[Side * Side];
        private readonly float[] values = new float[Inner * Inner];
        private readonly float[] differences = new float[Side * Side];
        private readonly RowHits[] all = [.. Enumerable.Range(0, MatchedFilter.Rows).Select(_ => new RowHits(Side))];
        private readonly MatchedFilter.Screen screen = new(Side);

        /// <summary>Noise of the smoothed square over what independent pixels would give; NaN where there are holes or no noise.</summary>
        public double Ratio(int x0, int y0)
        {
            for (int y = 0; y < Side; y++)
            {
                owner.reader.Unmasked(y0 + y, x0, tile.AsSpan(y * Side, Side));
            }

            float* everything = stackalloc float[Side];
            new Span<float>(everything, Side).Fill(float.NegativeInfinity);
            byte** rows = stackalloc byte*[MatchedFilter.Inputs];
            fixed (float* t = tile)
            {
                for (int y = 0; y < Inner; y += MatchedFilter.Rows)
                {
                    for (int k = 0; k < MatchedFilter.Inputs; k++)
                    {
                        rows[k] = (byte*)(t + ((y + k) * Side));
                    }

                    if (!owner.filter.Find<StoredFloat>(rows, Side, new MatchedFilter.Limits(everything, 0), all, screen))
                    {
                        return double.NaN;
                    }

                    for (int k = 0; k < MatchedFilter.Rows; k++)
                    {
                        all[k].Values.Slice(MatchedFilter.Reach, Inner).CopyTo(values.AsSpan((y + k) * Inner));
                    }
                }
            }

            // Differences between pixels some way apart: clouds and slopes of the sky are no noise.
            float pixel = Scatter(tile, Side), smoothed = Scatter(values, Inner);
            return pixel > 0 ? smoothed / (owner.filter.NoiseGain * pixel) : double.NaN;
        }

        private float Scatter(float[] square, int side)
        {
            int count = 0;
            for (int y = 0; y < side; y++)
            {
                for (int x = 0; x + Apart < side; x++)
                {
                    differences[count++] = square[(y * side) + x + Apart] - square[(y * side) + x];
                }
            }

            return BackgroundEstimator.Robust(differences.AsSpan(0, count), float.NaN, float.NaN).Noise;
        }
    }
}
