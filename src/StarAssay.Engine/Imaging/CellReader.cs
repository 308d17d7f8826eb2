using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Imaging;

/// <summary>Reads the pixels of a cell, every so many rows: where they lie, when the frame is stored in a format that kernels read,
/// else decoded to floats.</summary>
internal sealed unsafe class CellReader
{
    private readonly FrameReader reader;
    private readonly int widest;

    /// <summary>Makes a reader; it holds no state and may be shared by threads.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="widest">Most columns of a cell.</param>
    public CellReader(Frame frame, int widest)
    {
        Frame = frame;
        this.widest = widest;
        reader = new FrameReader(frame);
        Format = frame.Mask.IsEmpty ? StoredFormats.Of(frame.Pixels) : StoredFormat.Other;
    }

    /// <summary>The frame.</summary>
    public Frame Frame { get; }

    /// <summary>How its pixels can be read.</summary>
    public StoredFormat Format { get; }

    /// <summary>Floats that the largest cell needs.</summary>
    public int Room(int rows, int step) => widest * ((rows / step) + 1);

    /// <summary>The cell's pixels where they lie; none when they must be decoded.</summary>
    /// <param name="bytes">The frame's first byte, pinned.</param>
    /// <param name="cell">The cell.</param>
    public PixelBlock InPlace<TPixels>(byte* bytes, in Cell cell)
        where TPixels : struct, IStoredPixels => Format == StoredFormat.Other ? default
        : new(bytes + ((((nint)cell.Y0 * Frame.Width) + cell.X0) * TPixels.Size), (nint)cell.Step * Frame.Width, cell.SampledRows, cell.X1 - cell.X0);

    /// <summary>The cell's pixels as floats one after the other, NaN where they are masked.</summary>
    /// <returns>How many; <paramref name="missing"/> says whether any may be NaN.</returns>
    public int Decode(in Cell cell, float[] samples, out bool missing)
    {
        int count = 0, width = cell.X1 - cell.X0;
        for (int y = cell.Y0; y < cell.Y1; y += cell.Step)
        {
            reader.Row(y, cell.X0, samples.AsSpan(count, width));
            count += width;
        }

        missing = !float.IsFinite(System.Numerics.Tensors.TensorPrimitives.Sum<float>(samples.AsSpan(0, count)));
        return count;
    }

    /// <summary>Which pixels to read.</summary>
    /// <param name="X0">First column.</param>
    /// <param name="X1">First column beyond.</param>
    /// <param name="Y0">First row.</param>
    /// <param name="Y1">First row beyond.</param>
    /// <param name="Step">Every how many rows.</param>
    public readonly record struct Cell(int X0, int X1, int Y0, int Y1, int Step)
    {
        /// <summary>Rows that are read.</summary>
        public int SampledRows => Math.Max(0, (Y1 - Y0 + Step - 1) / Step);
    }
}
