using System.Buffers.Binary;
using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Reads a rectangle of a frame as physical values; pixels outside the frame, blank or masked are NaN.</summary>
internal static class FrameRegion
{
    /// <summary>Values in ADU, rows along x.</summary>
    public static double[] Read(Frame frame, int x0, int y0, int width, int height)
    {
        double[] values = new double[width * height];
        RawPixels pixels = frame.Pixels;
        ReadOnlySpan<byte> bytes = pixels.Bytes.Span;
        ReadOnlySpan<byte> mask = frame.Mask.Span;
        int step = RawPixels.BytesPerPixel(pixels.Format);
        for (int j = 0; j < height; j++)
        {
            for (int i = 0; i < width; i++)
            {
                int x = x0 + i;
                int y = y0 + j;
                double value = double.NaN;
                if (x >= 0 && y >= 0 && x < frame.Width && y < frame.Height)
                {
                    int at = (y * frame.Width) + x;
                    bool bad = !mask.IsEmpty && mask[at] != 0;
                    value = bad ? double.NaN : Physical(pixels, bytes.Slice(at * step, step));
                }

                values[(j * width) + i] = double.IsFinite(value) ? value : double.NaN;
            }
        }

        return values;
    }

    private static double Physical(RawPixels p, ReadOnlySpan<byte> b)
    {
        bool big = p.BigEndian;
        double stored = p.Format switch
        {
            PixelFormat.UInt8 => b[0],
            PixelFormat.Int8 => (sbyte)b[0],
            PixelFormat.UInt16 => big ? BinaryPrimitives.ReadUInt16BigEndian(b) : BinaryPrimitives.ReadUInt16LittleEndian(b),
            PixelFormat.Int16 => big ? BinaryPrimitives.ReadInt16BigEndian(b) : BinaryPrimitives.ReadInt16LittleEndian(b),
            PixelFormat.UInt32 => big ? BinaryPrimitives.ReadUInt32BigEndian(b) : BinaryPrimitives.ReadUInt32LittleEndian(b),
            PixelFormat.Int32 => big ? BinaryPrimitives.ReadInt32BigEndian(b) : BinaryPrimitives.ReadInt32LittleEndian(b),
            PixelFormat.UInt64 => big ? BinaryPrimitives.ReadUInt64BigEndian(b) : BinaryPrimitives.ReadUInt64LittleEndian(b),
            PixelFormat.Int64 => big ? BinaryPrimitives.ReadInt64BigEndian(b) : BinaryPrimitives.ReadInt64LittleEndian(b),
            PixelFormat.Float32 => big ? BinaryPrimitives.ReadSingleBigEndian(b) : BinaryPrimitives.ReadSingleLittleEndian(b),
            _ => big ? BinaryPrimitives.ReadDoubleBigEndian(b) : BinaryPrimitives.ReadDoubleLittleEndian(b),
        };
        return p.Blank is { } blank && stored == blank ? double.NaN : p.Zero + (p.Scale * stored);
    }
}
