using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Reads a rectangle of a frame as physical values; pixels outside the frame, blank or masked are NaN.</summary>
internal static class FrameRegion
{
    /// <summary>Values in ADU, rows along x.</summary>
    public static double[] Read(Frame frame, int x0, int y0, int width, int height)
    {
        double[] values = new double[width * height];
        Array.Fill(values, double.NaN);
        int first = Math.Max(0, x0);
        int end = Math.Min(frame.Width, x0 + width);
        if (end <= first)
        {
            return values;
        }

        var decoder = new RowDecoder(frame.Pixels);
        ReadOnlySpan<byte> mask = frame.Mask.Span;
        float[] row = new float[end - first];
        for (int y = Math.Max(0, y0); y < Math.Min(frame.Height, y0 + height); y++)
        {
            decoder.Decode(y, first, row);
            int to = ((y - y0) * width) + first - x0;
            for (int i = 0; i < row.Length; i++)
            {
                bool bad = !mask.IsEmpty && mask[(y * frame.Width) + first + i] != 0;
                values[to + i] = bad || !float.IsFinite(row[i]) ? double.NaN : row[i];
            }
        }

        return values;
    }
}
