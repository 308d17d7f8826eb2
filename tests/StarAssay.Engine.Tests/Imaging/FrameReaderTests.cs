using System.Runtime.InteropServices;
using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Tests.Imaging;

/// <summary>Truth: the numbers put in, 10 y + x.</summary>
public class FrameReaderTests
{
    [Theory]
    [InlineData(0, 0, 4, 3)]
    [InlineData(-2, -1, 8, 6)] // reaches beyond every edge
    [InlineData(2, 1, 4, 4)]
    [InlineData(7, 0, 2, 2)] // beside the frame
    [InlineData(0, -5, 2, 2)]
    public void Inside_the_frame_pixels_outside_nan(int x0, int y0, int width, int height)
    {
        short[] stored = [.. Enumerable.Range(0, 12).Select(i => (short)((10 * (i / 4)) + (i % 4)))];
        byte[] mask = new byte[12];
        mask[6] = 1; // x = 2, y = 1
        var frame = new Frame
        {
            Pixels = new RawPixels(MemoryMarshal.AsBytes<short>(stored).ToArray(), PixelFormat.Int16, !BitConverter.IsLittleEndian, 4, 3),
            Mask = mask,
            Name = "numbers",
        };
        double[] got = new FrameReader(frame).Region(x0, y0, width, height);
        for (int j = 0; j < height; j++)
        {
            for (int i = 0; i < width; i++)
            {
                (int x, int y) = (x0 + i, y0 + j);
                bool inside = x >= 0 && y >= 0 && x < 4 && y < 3 && !(x == 2 && y == 1);
                Assert.Equal(inside ? (10 * y) + x : double.NaN, got[(j * width) + i]);
            }
        }
    }
}
