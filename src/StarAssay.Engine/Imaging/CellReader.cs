using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;
using System.Runtime.Intrinsics.X86;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Imaging;

/// <summary>Gathers the pixels of a cell, every so many rows, as floats one after the other.</summary>
/// <remarks>Rows of a cell are short and lie far apart, so what is done once a row counts: the formats that cameras write are
/// read straight from the frame, and the next cells are asked for ahead of time. All others go through the decoder.</remarks>
internal sealed unsafe class CellReader
{
    // Cells ahead that are asked for.
    private const int Ahead = 2;
    private readonly RowDecoder decoder;
    private readonly StoredFormat format;
    private readonly int widest;

    /// <summary>Makes a reader; it holds no state and may be shared by threads.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="widest">Most columns of a cell.</param>
    public CellReader(Frame frame, int widest)
    {
        Frame = frame;
        this.widest = widest;
        decoder = new RowDecoder(frame.Pixels);
        format = frame.Mask.IsEmpty && Vector128.IsHardwareAccelerated && widest > Lanes512.Count ? StoredFormats.Of(frame.Pixels) : StoredFormat.Other;
    }

    /// <summary>The frame.</summary>
    public Frame Frame { get; }

    /// <summary>Floats that the largest cell needs.</summary>
    public int Room(int rows, int step) => widest * ((rows / step) + 1);

    /// <summary>Gathers columns x0 to x1 of every step-th row from y0 on, below y1.</summary>
    /// <remarks><paramref name="bytes"/> is where the frame's pixels stay meanwhile: pinned once for many cells.</remarks>
    /// <returns>How many pixels; <paramref name="missing"/> says whether any may be NaN.</returns>
    public int Read(byte* bytes, int x0, int x1, int y0, int y1, int step, float[] samples, out bool missing)
    {
        if (format == StoredFormat.Other)
        {
            return Decode(x0, x1, y0, y1, step, samples, out missing);
        }

        int rows = (y1 - y0 + step - 1) / step;
        if (rows <= 0 || samples.Length < rows * (x1 - x0))
        {
            throw new ArgumentOutOfRangeException(nameof(samples));
        }

        fixed (float* target = samples)
        {
            missing = !(format == StoredFormat.Float ? Gather<StoredFloat>(bytes, x0, x1, y0, rows, step, target)
                : format == StoredFormat.UInt16 ? Gather<StoredUInt16>(bytes, x0, x1, y0, rows, step, target)
                : Gather<StoredFileUInt16>(bytes, x0, x1, y0, rows, step, target));
        }

        return rows * (x1 - x0);
    }

    private bool Gather<TPixels>(byte* bytes, int x0, int x1, int y0, int rows, int step, float* target)
        where TPixels : struct, IStoredPixels =>
        Vector512.IsHardwareAccelerated ? Gather<Lanes512, TPixels>(bytes, x0, x1, y0, rows, step, target)
        : Vector256.IsHardwareAccelerated ? Gather<Lanes256, TPixels>(bytes, x0, x1, y0, rows, step, target)
        : Gather<Lanes128, TPixels>(bytes, x0, x1, y0, rows, step, target);

    /// <summary>False when a pixel is NaN or infinite.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private bool Gather<T, TPixels>(byte* bytes, int x0, int x1, int y0, int rows, int step, float* target)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        int width = x1 - x0, last = width - T.Count;
        nint pitch = (nint)step * Frame.Width * TPixels.Size;
        byte* row = bytes + ((((long)y0 * Frame.Width) + x0) * TPixels.Size);
        T missing = T.Of(0);
        int near = Ahead * width * TPixels.Size;
        for (int j = 0; j < rows; j++, row += pitch, target += width)
        {
            if (Sse.IsSupported)
            {
                for (int b = 0; b < width * TPixels.Size; b += 64)
                {
                    Sse.Prefetch0(row + near + b);
                }
            }

            // The last register overlaps the one before.
            for (nint x = 0; ; x = Math.Min(x + T.Count, last))
            {
                T v = TPixels.Load<T>(ref *row, x);
                if (TPixels.MayBeMissing)
                {
                    missing = T.MulAdd(v, T.Of(0), missing);
                }

                T.Store(v, ref *target, x);
                if (x == last)
                {
                    break;
                }
            }
        }

        return T.Sum(missing) == 0;
    }

    private int Decode(int x0, int x1, int y0, int y1, int step, float[] samples, out bool missing)
    {
        int count = 0, width = x1 - x0;
        for (int y = y0; y < y1; y += step)
        {
            decoder.Decode(y, x0, samples.AsSpan(count, width));
            if (!Frame.Mask.IsEmpty)
            {
                ReadOnlySpan<byte> mask = Frame.Mask.Span.Slice((y * Frame.Width) + x0, width);
                for (int k = 0; k < width; k++)
                {
                    samples[count + k] = mask[k] == 0 ? samples[count + k] : float.NaN;
                }
            }

            count += width;
        }

        missing = !float.IsFinite(System.Numerics.Tensors.TensorPrimitives.Sum<float>(samples.AsSpan(0, count)));
        return count;
    }
}
