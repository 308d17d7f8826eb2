namespace StarAssay.Engine.Imaging;

/// <summary>Reads rows and rectangles of a frame as physical values; what is masked, blank or outside the frame is NaN.</summary>
/// <remarks>Kernels that read stored pixels where they lie do so only in frames without a mask (<see cref="StoredFormats"/>); all
/// other reading goes through here.</remarks>
internal sealed class FrameReader
{
    private readonly RowDecoder decoder;

    /// <summary>Makes a reader; it holds no state and may be shared by threads.</summary>
    public FrameReader(Frame frame)
    {
        Frame = frame;
        decoder = new RowDecoder(frame.Pixels);
    }

    /// <summary>The frame.</summary>
    public Frame Frame { get; }

    /// <summary>Part of a row of the mask, nonzero = do not use; empty when there is no mask.</summary>
    public ReadOnlySpan<byte> Mask(int y, int x, int count) =>
        Frame.Mask.IsEmpty ? [] : Frame.Mask.Span.Slice(checked((int)(((long)y * Frame.Width) + x)), count);

    /// <summary>Part of a row in ADU, whatever the mask says.</summary>
    /// <param name="y">Row.</param>
    /// <param name="x">First pixel.</param>
    /// <param name="target">Receives as many pixels as it is long.</param>
    public void Unmasked(int y, int x, Span<float> target) => decoder.Decode(y, x, target);

    /// <summary>Part of a row in ADU, NaN where it is masked.</summary>
    /// <param name="y">Row.</param>
    /// <param name="x">First pixel.</param>
    /// <param name="target">Receives as many pixels as it is long.</param>
    public void Row(int y, int x, Span<float> target)
    {
        decoder.Decode(y, x, target);
        ReadOnlySpan<byte> mask = Mask(y, x, target.Length);
        for (int i = 0; i < mask.Length; i++)
        {
            target[i] = mask[i] == 0 ? target[i] : float.NaN;
        }
    }

    /// <summary>A rectangle in ADU, rows along x; NaN for infinite values too. It may reach beyond the frame.</summary>
    public double[] Region(int x0, int y0, int width, int height)
    {
        double[] values = new double[width * height];
        Array.Fill(values, double.NaN);
        int first = Math.Max(0, x0);
        int end = Math.Min(Frame.Width, x0 + width);
        if (end <= first)
        {
            return values;
        }

        float[] row = new float[end - first];
        for (int y = Math.Max(0, y0); y < Math.Min(Frame.Height, y0 + height); y++)
        {
            Row(y, first, row);
            int to = ((y - y0) * width) + first - x0;
            for (int i = 0; i < row.Length; i++)
            {
                values[to + i] = float.IsFinite(row[i]) ? row[i] : double.NaN;
            }
        }

        return values;
    }
}
