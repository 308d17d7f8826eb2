using System.Numerics.Tensors;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging.Calibration;

/// <summary>How the values of one pixel are brought together.</summary>
public enum CombineMethod
{
    /// <summary>Mean of what is left after clipping about the median.</summary>
    ClippedMean,

    /// <summary>Median.</summary>
    Median,

    /// <summary>Plain mean.</summary>
    Mean,
}

/// <summary>Asks for a master frame.</summary>
public sealed record CombineRequest
{
    /// <summary>How.</summary>
    public CombineMethod Method { get; init; } = CombineMethod.ClippedMean;

    /// <summary>Values farther from the median than this many standard deviations are left out.</summary>
    public double ClipSigma { get; init; } = 4;

    /// <summary>Rounds of clipping at most.</summary>
    public int Rounds { get; init; } = 5;

    /// <summary>Divide each frame by its median first and bring the result to a median of 1: for flats.</summary>
    public bool Normalize { get; init; }

    /// <summary>The clipping spread of a pixel is at least this share of its row's typical one; a handful of whole
    /// numbers can agree by chance, and everything else would be thrown out. 0 switches it off.</summary>
    public double SpreadFloor { get; init; } = 0.5;
}

/// <summary>Several frames in one.</summary>
/// <param name="Pixels">Combined values in ADU (or relative to the median), [y, x]; NaN where no frame has a value.</param>
/// <param name="Uncertainty">Standard error of each, from the scatter between the frames; NaN with one value.</param>
/// <param name="Counts">Values that went into each.</param>
/// <param name="Frames">How many frames.</param>
/// <param name="RejectedShare">Share of all usable values that were rejected.</param>
/// <param name="Levels">Median of each frame, ADU.</param>
/// <param name="Notes">Doubts.</param>
public sealed record MasterFrame(float[,] Pixels, float[,] Uncertainty, short[,] Counts, int Frames, double RejectedShare,
    double[] Levels, IReadOnlyList<Note> Notes);

/// <summary>Combines bias, dark and flat frames, row by row, so that memory does not grow with their number.</summary>
public static class FrameCombiner
{
    /// <summary>Combines.</summary>
    public static MasterFrame Combine(IReadOnlyList<Frame> frames, CombineRequest request, RunContext context)
    {
        Check(frames, request);
        int width = frames[0].Width, height = frames[0].Height, n = frames.Count;
        FrameReader[] readers = [.. frames.Select(f => new FrameReader(f))];
        double[] levels = [.. readers.Select(Level)];
        if (request.Normalize && levels.Any(l => !(l > 0)))
        {
            int bad = Array.FindIndex(levels, l => !(l > 0));
            throw new CannotMeasureException("calibration.flat-level", $"{frames[bad].Name} has a median of {levels[bad]:G4} ADU and cannot be a flat " +
                "field. Leave it out.", frames[bad].Name);
        }

        var pixels = new float[height, width];
        var uncertainty = new float[height, width];
        var counts = new short[height, width];
        long[] rejected = new long[height], usable = new long[height];
        int done = 0;
        Parallel.For(0, height, context.Parallel, () => new Scratch(n, width), (y, _, s) =>
        {
            for (int f = 0; f < n; f++)
            {
                readers[f].Row(y, 0, s.Rows[f]);
                if (request.Normalize)
                {
                    TensorPrimitives.Multiply(s.Rows[f], (float)(1 / levels[f]), s.Rows[f]);
                }
            }

            (usable[y], rejected[y]) = CombineRow(s, request, y, pixels, uncertainty, counts);
            context.Report(Interlocked.Increment(ref done) / (double)height, "combining frames");
            return s;
        }, _ => { });

        double share = rejected.Sum() / (double)Math.Max(1, usable.Sum());
        if (request.Normalize)
        {
            Rescale(pixels, uncertainty);
        }

        var notes = new List<Note>();
        if (request.Method == CombineMethod.ClippedMean && n < 5)
        {
            notes.Add(CalibrationNotes.FewFrames.Say($"Only {n} frames were combined; take at least 5, better 15."));
        }

        if (share > 0.05)
        {
            notes.Add(CalibrationNotes.ManyRejected.Say($"{share:P1} of the values were rejected; check that the frames have one exposure, filter and " +
                "temperature."));
        }

        return new MasterFrame(pixels, uncertainty, counts, n, share, levels, notes);
    }

    /// <summary>Median of a frame: of all pixels, or of evenly spread rows of a big one.</summary>
    internal static double Level(FrameReader reader)
    {
        Frame frame = reader.Frame;
        const int Enough = 1 << 20;
        int stride = Math.Max(1, (int)((long)frame.Width * frame.Height / Enough));
        var sample = new List<float>();
        float[] row = new float[frame.Width];
        for (int y = 0; y < frame.Height; y += stride)
        {
            reader.Row(y, 0, row);
            sample.AddRange(row.Where(float.IsFinite));
        }

        return Rank.Median(sample.ToArray());
    }

    private static (long Usable, long Rejected) CombineRow(Scratch s, CombineRequest request, int y, float[,] pixels, float[,] uncertainty, short[,] counts)
    {
        int width = s.Width;
        float floor = request.Method == CombineMethod.ClippedMean && request.SpreadFloor > 0 ? (float)(request.SpreadFloor * TypicalSpread(s)) : 0;
        long usable = 0, rejected = 0;
        for (int x = 0; x < width; x++)
        {
            Span<float> values = s.Gather(x);
            int before = values.Length;
            usable += before;
            if (request.Method == CombineMethod.ClippedMean)
            {
                values = Clip(values, s, request, floor);
            }

            rejected += before - values.Length;
            (double mean, double deviation) = Moments(values);
            double center = request.Method == CombineMethod.Median ? Rank.Median(values) : mean;

            // Standard error; of a median sqrt(pi/2) times that of the mean (large samples).
            double error = values.Length > 1 ? deviation / Math.Sqrt(values.Length) : double.NaN;
            pixels[y, x] = (float)center;
            uncertainty[y, x] = (float)(request.Method == CombineMethod.Median && values.Length > 2 ? error * Math.Sqrt(Math.PI / 2) : error);
            counts[y, x] = (short)values.Length;
        }

        return (usable, rejected);
    }

    private static double TypicalSpread(Scratch s)
    {
        for (int x = 0; x < s.Width; x++)
        {
            Span<float> values = s.Gather(x);
            double center = Rank.Median(values);
            s.Spreads[x] = (float)Rank.MadSigma(values, center);
        }

        int finite = 0;
        for (int x = 0; x < s.Width; x++)
        {
            if (float.IsFinite(s.Spreads[x]))
            {
                s.Spreads[finite++] = s.Spreads[x];
            }
        }

        return finite == 0 ? 0 : Rank.Median(s.Spreads.AsSpan(0, finite));
    }

    private static Span<float> Clip(Span<float> values, Scratch s, CombineRequest request, float floor)
    {
        for (int round = 0; round < request.Rounds && values.Length > 2; round++)
        {
            values.CopyTo(s.Sorted);
            Span<float> copy = s.Sorted.AsSpan(0, values.Length);
            double center = Rank.Median(copy);
            double limit = request.ClipSigma * Math.Max(floor, Rank.MadSigma(copy, center));
            int kept = 0;
            for (int i = 0; i < values.Length; i++)
            {
                if (Math.Abs(values[i] - center) <= limit)
                {
                    values[kept++] = values[i];
                }
            }

            if (kept == values.Length)
            {
                break;
            }

            values = values[..kept];
        }

        return values;
    }

    private static (double Mean, double Deviation) Moments(ReadOnlySpan<float> values)
    {
        if (values.IsEmpty)
        {
            return (double.NaN, double.NaN);
        }

        double sum = 0;
        foreach (float v in values)
        {
            sum += v;
        }

        double mean = sum / values.Length, squares = 0;
        foreach (float v in values)
        {
            squares += (v - mean) * (v - mean);
        }

        return (mean, Math.Sqrt(squares / Math.Max(1, values.Length - 1)));
    }

    private static void Rescale(float[,] pixels, float[,] uncertainty)
    {
        float[] finite = [.. pixels.Cast<float>().Where(float.IsFinite)];
        double median = Rank.Median(finite);
        for (int y = 0; y < pixels.GetLength(0); y++)
        {
            for (int x = 0; x < pixels.GetLength(1); x++)
            {
                pixels[y, x] = (float)(pixels[y, x] / median);
                uncertainty[y, x] = (float)(uncertainty[y, x] / median);
            }
        }
    }

    private static void Check(IReadOnlyList<Frame> frames, CombineRequest request)
    {
        if (frames.Count is 0 or > short.MaxValue)
        {
            throw new InputException("calibration.frames", $"{frames.Count} frames were given to combine; give between 1 and {short.MaxValue}.", "frames");
        }

        InputException.RequireRange(request.ClipSigma, 1, 100, "clip_sigma", "standard deviations");
        InputException.RequireRange(request.Rounds, 1, 100, "rounds", "rounds");
        InputException.RequireRange(request.SpreadFloor, 0, 1, "spread_floor", "of the typical spread");
        foreach (Frame f in frames)
        {
            f.RequireConsistent();
            SameSize.Require(frames[0], f);
        }
    }

    private sealed class Scratch(int frames, int width)
    {
        private readonly float[] values = new float[frames];

        public int Width => width;

        public float[][] Rows { get; } = [.. Enumerable.Range(0, frames).Select(_ => new float[width])];

        public float[] Sorted { get; } = new float[frames];

        public float[] Spreads { get; } = new float[width];

        /// <summary>The finite values of one column.</summary>
        public Span<float> Gather(int x)
        {
            int n = 0;
            foreach (float[] row in Rows)
            {
                if (float.IsFinite(row[x]))
                {
                    values[n++] = row[x];
                }
            }

            return values.AsSpan(0, n);
        }
    }
}
