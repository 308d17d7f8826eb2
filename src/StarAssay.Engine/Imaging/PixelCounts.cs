using System.Buffers.Binary;
using System.Numerics.Tensors;
using System.Runtime.CompilerServices;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging;

/// <summary>How many pixels of a frame's sampled rows fall into each of 65,536 classes of brightness.</summary>
internal sealed unsafe class PixelCounts
{
    /// <summary>Classes of brightness.</summary>
    public const int Classes = 65536;

    // Neighbors go to different tables: the sky's pixels are much alike, and one addition to a class must wait for the one before.
    private const int Tables = 4;
    private const int BlockRows = 64;
    private static readonly Spares<PixelCounts> Spare = new(static (_, _) => true, static _ => new PixelCounts());
    private readonly int[] tables = new int[Tables * Classes];

    private PixelCounts()
    {
    }

    /// <summary>Pixels of each class.</summary>
    public ReadOnlySpan<int> Histogram => tables.AsSpan(0, Classes);

    /// <summary>Pixels that were counted.</summary>
    public long Used { get; private set; }

    /// <summary>Pixels that hold no number, masked ones left out.</summary>
    public long NotFinite { get; private set; }

    /// <summary>Counts every step-th row. To be given back.</summary>
    /// <param name="reader">Reads the frame.</param>
    /// <param name="scale">The classes.</param>
    /// <param name="step">Every how many rows.</param>
    /// <param name="context">Threads.</param>
    public static PixelCounts Of(FrameReader reader, ClassScale scale, int step, RunContext context)
    {
        Frame frame = reader.Frame;
        StoredFormat format = frame.Mask.IsEmpty ? StoredFormats.Of(frame.Pixels) : StoredFormat.Other;
        bool words = format is StoredFormat.UInt16 or StoredFormat.FileUInt16;
        var gate = new Lock();
        PixelCounts total = Spare.Take(0);
        Sharing.For((frame.Height + BlockRows - 1) / BlockRows, context, () => (Counts: Spare.Take(0), Row: words ? [] : new float[frame.Width]),
            (block, local) =>
        {
            for (int y = SampledRows.First(block * BlockRows, step); y < Math.Min(frame.Height, (block + 1) * BlockRows); y += step)
            {
                if (words)
                {
                    local.Counts.AddWords(frame, y, format == StoredFormat.FileUInt16);
                }
                else
                {
                    reader.Unmasked(y, 0, local.Row);
                    local.Counts.AddFloats(local.Row, reader.Mask(y, 0, frame.Width), scale);
                }
            }
        }, local =>
        {
            // Whole numbers: the order of adding does not matter.
            lock (gate)
            {
                total.Add(local.Counts);
            }

            local.Counts.GiveBack();
        });
        return total;
    }

    /// <summary>Lets others use its memory.</summary>
    public void GiveBack()
    {
        Array.Clear(tables);
        Used = NotFinite = 0;
        Spare.GiveBack(this);
    }

    private void Add(PixelCounts other)
    {
        Span<int> sum = tables.AsSpan(0, Classes);
        for (int table = 0; table < Tables; table++)
        {
            TensorPrimitives.Add(sum, other.tables.AsSpan(table * Classes, Classes), sum);
        }

        Used += other.Used;
        NotFinite += other.NotFinite;
    }

    private void AddFloats(ReadOnlySpan<float> row, ReadOnlySpan<byte> mask, ClassScale scale)
    {
        double low = scale.Low, perClass = 1 / scale.Width;

        // Exact classes are rounded to, so that the decoder's rounding does not matter; others are cut.
        double half = scale.Exact ? 0.5 : 0;
        for (int x = 0; x < row.Length; x++)
        {
            float v = row[x];
            if (!mask.IsEmpty && mask[x] != 0)
            {
                continue;
            }

            if (float.IsFinite(v))
            {
                tables[(x % Tables * Classes) + Math.Clamp((int)(((v - low) * perClass) + half), 0, Classes - 1)]++;
                Used++;
            }
            else
            {
                NotFinite++;
            }
        }
    }

    /// <summary>Words are their own classes; four are read at once.</summary>
    private void AddWords(Frame frame, int y, bool fileOrder)
    {
        // Signed, bytes swapped, BZERO 32768: the sign bit turned over. Swapping all eight bytes turns the words round too.
        const ulong Signs = 0x8000_8000_8000_8000;
        int width = frame.Width, x = 0, bytes = sizeof(ushort) * width;
        ReadOnlySpan<byte> row = frame.Pixels.Bytes.Span.Slice(checked((int)((long)y * bytes)), bytes);
        fixed (byte* first = row)
        fixed (int* a = tables)
        {
            int* b = a + Classes, c = b + Classes, d = c + Classes;
            for (; x <= width - Tables; x += Tables)
            {
                ulong four = Unsafe.ReadUnaligned<ulong>(first + (sizeof(ushort) * x));
                four = fileOrder ? BinaryPrimitives.ReverseEndianness(four) ^ Signs : four;
                a[(ushort)four]++;
                b[(ushort)(four >> 16)]++;
                c[(ushort)(four >> 32)]++;
                d[four >> 48]++;
            }

            for (; x < width; x++)
            {
                ushort word = Unsafe.ReadUnaligned<ushort>(first + (sizeof(ushort) * x));
                a[fileOrder ? (ushort)(BinaryPrimitives.ReverseEndianness(word) ^ 0x8000) : word]++;
            }
        }

        Used += width;
    }
}

/// <summary>Which brightness each class stands for.</summary>
/// <param name="Low">ADU of the first class.</param>
/// <param name="High">ADU of the brightest pixel.</param>
/// <param name="Width">ADU from a class to the next.</param>
/// <param name="Exact">Whether each class is one value.</param>
internal readonly record struct ClassScale(double Low, double High, double Width, bool Exact)
{
    /// <summary>ADU of a class.</summary>
    public double Level(int index) => Low + (index * Width);
}

/// <summary>Every so many rows of a frame, counted from its first.</summary>
internal static class SampledRows
{
    /// <summary>The first sampled row from a row on.</summary>
    public static int First(int row, int step) => (row + step - 1) / step * step;
}
