using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Tests.Imaging;

/// <summary>Frames with known truth for the tests of this folder.</summary>
internal static class Draw
{
    public static Frame Frame(int width, int height, Func<int, int, double> level, double sigma = 0, int seed = 1)
    {
        var random = new Random(seed);
        float[] pixels = new float[width * height];
        for (int i = 0; i < pixels.Length; i++)
        {
            pixels[i] = (float)(level(i % width, i / width) + (sigma * Gauss(random)));
        }

        return Of(pixels, width, height);
    }

    public static Frame Of(float[] pixels, int width, int height) => new() { Pixels = RawPixels.FromFloats(pixels, width, height), Name = "drawn" };

    /// <summary>Whole numbers as a camera writes them.</summary>
    public static Frame Rounded(Frame frame, double clip = 65535)
    {
        float[] row = new float[frame.Width];
        byte[] bytes = new byte[frame.Width * frame.Height * 2];
        var decoder = new RowDecoder(frame.Pixels);
        for (int y = 0; y < frame.Height; y++)
        {
            decoder.Decode(y, 0, row);
            for (int x = 0; x < row.Length; x++)
            {
                BitConverter.TryWriteBytes(bytes.AsSpan(2 * ((y * frame.Width) + x)), (ushort)Math.Clamp(Math.Round(row[x]), 0, clip));
            }
        }

        return frame with { Pixels = new RawPixels(bytes, PixelFormat.UInt16, !BitConverter.IsLittleEndian, frame.Width, frame.Height) };
    }

    public static double Gauss(Random random) =>
        Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
}
