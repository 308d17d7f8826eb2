using System.Numerics.Tensors;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging;

/// <summary>Looks once at the pixels: range, pile-up at the bright end, mosaic.</summary>
/// <remarks>Frames above a few megapixels are judged by evenly spaced rows; their counts are then estimates.
/// A histogram of 65,536 classes is exact for 8- and 16-bit cameras. Clipped pixels show as one class that
/// stands high above the classes below it with almost nothing above, wherever the clipping level lies: cameras clip
/// below full scale when their converter has fewer bits, or their bias is subtracted (common practice, no source).</remarks>
public static class FrameInspector
{
    private const int BlockRows = 64;

    /// <summary>Pixels that are enough to judge a frame by.</summary>
    private const long EnoughPixels = 3_000_000;

    /// <summary>Classes below a candidate that tell how many pixels it should hold.</summary>
    private const int Window = 256;

    /// <summary>Inspects a frame.</summary>
    public static FrameInspection Inspect(Frame frame, RunContext context)
    {
        frame.RequireConsistent();
        var reader = new FrameReader(frame);
        ClassScale scale = ScaleOf(reader, context);
        int rowStep = RowStep(frame);
        MosaicEvidence mosaic = MosaicDetector.Detect(reader, context);
        PixelCounts counts = PixelCounts.Of(reader, scale, rowStep, context);
        FrameInspection seen = Judge(frame, scale, rowStep, counts, mosaic);
        counts.GiveBack();
        return seen;
    }

    private static FrameInspection Judge(Frame frame, ClassScale scale, int rowStep, PixelCounts counts, MosaicEvidence mosaic)
    {
        if (counts.Used == 0)
        {
            return new FrameInspection
            {
                PixelCount = (long)frame.Width * frame.Height,
                RowStep = rowStep,
                NotFiniteCount = counts.NotFinite * rowStep,
                UsedCount = 0,
                MinimumAdu = double.NaN,
                MaximumAdu = double.NaN,
                MedianAdu = double.NaN,
                SpreadAdu = double.NaN,
                BrightAdu = double.NaN,
                StepAdu = 0,
                PileUpAdu = double.NaN,
                PileUpCount = 0,
                SaturatedCount = 0,
                Mosaic = mosaic,
            };
        }

        ReadOnlySpan<int> histogram = counts.Histogram;
        long used = counts.Used;
        int first = histogram.IndexOfAnyExcept(0), last = histogram.LastIndexOfAnyExcept(0);
        int step = scale.Exact ? StepOf(histogram, first) : 0;
        int pile = PileUp(histogram, used, first, last, Math.Max(step, 1));
        int saturated = double.IsNaN(frame.SaturationAdu) ? PixelCounts.Classes
            : Math.Clamp((int)Math.Ceiling((frame.SaturationAdu - scale.Low) / scale.Width), 0, PixelCounts.Classes);
        double quartiles = (scale.Level(Quantile(histogram, used, 0.75)) - scale.Level(Quantile(histogram, used, 0.25))) / 2;
        return new FrameInspection
        {
            PixelCount = (long)frame.Width * frame.Height,
            RowStep = rowStep,
            NotFiniteCount = counts.NotFinite * rowStep,
            UsedCount = counts.Used * rowStep,
            MinimumAdu = scale.Exact ? scale.Level(first) : scale.Low,
            MaximumAdu = scale.Exact ? scale.Level(last) : scale.High,
            MedianAdu = scale.Level(Quantile(histogram, used, 0.5)),
            SpreadAdu = Rank.MadToSigma * quartiles,
            BrightAdu = scale.Level(Quantile(histogram, used, 0.99)),
            StepAdu = step * scale.Width,
            PileUpAdu = pile < 0 ? double.NaN : scale.Level(pile),
            PileUpCount = pile < 0 ? 0 : Sum(histogram, pile) * rowStep,
            SaturatedCount = Sum(histogram, saturated) * rowStep,
            Mosaic = mosaic,
        };
    }

    private static ClassScale ScaleOf(FrameReader reader, RunContext context)
    {
        RawPixels p = reader.Frame.Pixels;
        (double Low, double High)? stored = p.Format switch
        {
            PixelFormat.UInt8 => (byte.MinValue, byte.MaxValue),
            PixelFormat.Int8 => (sbyte.MinValue, sbyte.MaxValue),
            PixelFormat.UInt16 => (ushort.MinValue, ushort.MaxValue),
            PixelFormat.Int16 => (short.MinValue, short.MaxValue),
            _ => null,
        };
        if (stored is (double a, double b))
        {
            double low = p.Zero + (p.Scale * (p.Scale > 0 ? a : b));
            return new ClassScale(low, low + (Math.Abs(p.Scale) * (b - a)), Math.Abs(p.Scale), true);
        }

        // Counts that someone has made floats of are counts still; most other floats say at the first pixel that they are none.
        (double min, double max, bool whole) = Range(reader, context);
        return whole && max - min < PixelCounts.Classes ? new ClassScale(min, max, 1, true)
            : new ClassScale(min, max, max > min ? (max - min) / (PixelCounts.Classes - 1) : 1, false);
    }

    /// <summary>Least and largest value of the rows that are looked at, and whether all their values are whole numbers.</summary>
    private static (double Low, double High, bool Whole) Range(FrameReader reader, RunContext context)
    {
        Frame frame = reader.Frame;
        int step = RowStep(frame), blocks = (frame.Height + BlockRows - 1) / BlockRows;
        float[] lows = new float[blocks], highs = new float[blocks];
        bool[] fractions = new bool[blocks];
        Sharing.For(blocks, context, () => new float[frame.Width], (block, row) =>
        {
            float low = float.PositiveInfinity, high = float.NegativeInfinity;
            for (int y = SampledRows.First(block * BlockRows, step); y < Math.Min(frame.Height, (block + 1) * BlockRows); y += step)
            {
                reader.Unmasked(y, 0, row);
                ReadOnlySpan<byte> mask = reader.Mask(y, 0, row.Length);
                fractions[block] = fractions[block] || !AreWhole(row, mask);
                float least = TensorPrimitives.Min<float>(row), largest = TensorPrimitives.Max<float>(row);
                if (mask.IsEmpty && float.IsFinite(least) && float.IsFinite(largest))
                {
                    (low, high) = (Math.Min(low, least), Math.Max(high, largest));
                    continue;
                }

                for (int x = 0; x < row.Length; x++)
                {
                    float v = row[x];
                    if (float.IsFinite(v) && (mask.IsEmpty || mask[x] == 0))
                    {
                        low = Math.Min(low, v);
                        high = Math.Max(high, v);
                    }
                }
            }

            (lows[block], highs[block]) = (low, high);
        });
        (float l, float h) = (lows.Min(), highs.Max());
        return l > h ? (0, 0, true) : (l, h, !fractions.Contains(true));
    }

    private static bool AreWhole(ReadOnlySpan<float> row, ReadOnlySpan<byte> mask)
    {
        for (int x = 0; x < row.Length; x++)
        {
            if (float.IsFinite(row[x]) && row[x] != MathF.Round(row[x]) && (mask.IsEmpty || mask[x] == 0))
            {
                return false;
            }
        }

        return true;
    }

    private static int StepOf(ReadOnlySpan<int> histogram, int first)
    {
        int step = 0;
        for (int i = first + 1; i < histogram.Length && step != 1; i++)
        {
            if (histogram[i] > 0)
            {
                (int a, int b) = (i - first, step);
                while (b != 0)
                {
                    (a, b) = (b, a % b);
                }

                step = a;
            }
        }

        return step;
    }

    /// <summary>Class at which the bright end piles up, or -1.</summary>
    private static int PileUp(ReadOnlySpan<int> histogram, long used, int first, int last, int step)
    {
        if (last - first < 16L * step)
        {
            return -1;
        }

        long above = 0;
        for (int i = last; i > first + (16 * step); i--)
        {
            long here = histogram[i];
            if (here == 0)
            {
                continue;
            }

            // Noise on the clipped level, and hot pixels after it, leave a few pixels above.
            if (here >= 4 && above <= Math.Max(3, here / 10))
            {
                long below = 0;
                int low = Math.Max(first, i - (Window * step));
                for (int j = low; j < i; j++)
                {
                    below += histogram[j];
                }

                double expected = below / (double)Math.Max(1, (i - low) / step);

                // Five standard deviations of a count, and clearly more than a crowded tail would give.
                if (here > (8 * expected) + (5 * Math.Sqrt(expected)))
                {
                    return i;
                }
            }

            above += here;
            if (above > Math.Max(64, used / 10))
            {
                return -1;
            }
        }

        return -1;
    }

    private static int Quantile(ReadOnlySpan<int> histogram, long total, double share)
    {
        long wanted = (long)(share * (total - 1));
        long seen = 0;
        for (int i = 0; i < histogram.Length; i++)
        {
            seen += histogram[i];
            if (seen > wanted)
            {
                return i;
            }
        }

        return histogram.Length - 1;
    }

    private static long Sum(ReadOnlySpan<int> histogram, int from)
    {
        long sum = 0;
        for (int i = from; i < histogram.Length; i++)
        {
            sum += histogram[i];
        }

        return sum;
    }

    // Odd, so that rows of both kinds of a color mosaic are looked at.
    private static int RowStep(Frame frame) => (int)((long)frame.Width * frame.Height / EnoughPixels) | 1;
}
