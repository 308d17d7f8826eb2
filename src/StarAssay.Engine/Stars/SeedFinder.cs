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
    private const int BandRows = 128;
    private const int ThresholdRows = 8;

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
        Sharing.For(bands, context, () => new Band<TPixels>(this, inPlace),
            (band, worker) => found[band] = worker.Run(band * BandRows, Math.Min(frame.Height, (band + 1) * BandRows)));
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
        RowHits[] all = [.. Enumerable.Range(0, MatchedFilter.Rows).Select(_ => new RowHits(Side))];
        var screen = new MatchedFilter.Screen(Side);
        float* everything = stackalloc float[Side];
        new Span<float>(everything, Side).Fill(float.NegativeInfinity);
        byte** rows = stackalloc byte*[MatchedFilter.Inputs];
        var ratios = new List<double>();
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

                bool whole = true;
                fixed (float* t = tile)
                {
                    for (int y = 0; y < Inner && whole; y += MatchedFilter.Rows)
                    {
                        for (int k = 0; k < MatchedFilter.Inputs; k++)
                        {
                            rows[k] = (byte*)(t + ((y + k) * Side));
                        }

                        whole = filter.Find<StoredFloat>(rows, Side, new MatchedFilter.Limits(everything, 0), all, screen);
                        for (int k = 0; k < MatchedFilter.Rows && whole; k++)
                        {
                            all[k].Values.Slice(MatchedFilter.Reach, Inner).CopyTo(values.AsSpan((y + k) * Inner));
                        }
                    }
                }

                double pixel = whole ? BackgroundEstimator.Robust(tile, float.NaN, float.NaN).Noise : 0;
                if (pixel > 0)
                {
                    ratios.Add(BackgroundEstimator.Robust(values, float.NaN, float.NaN).Noise / (filter.NoiseGain * pixel));
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
}
