using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging.Calibration;

/// <summary>A decoded image for filters that need neighborhoods.</summary>
internal sealed record FloatImage(float[] Pixels, int Width, int Height)
{
    public static FloatImage From(Frame frame, RunContext context)
    {
        frame.RequireConsistent();
        float[] pixels = new float[checked(frame.Width * frame.Height)];
        var reader = new FrameReader(frame);
        Parallel.For(0, frame.Height, context.Parallel, y => reader.Row(y, 0, pixels.AsSpan(y * frame.Width, frame.Width)));
        return new FloatImage(pixels, frame.Width, frame.Height);
    }
}

/// <summary>Median over a square neighborhood; pixels without a value and beyond the edge do not count.</summary>
internal static class MedianFilter
{
    public static FloatImage Apply(FloatImage image, int radius, RunContext context)
    {
        (int width, int height) = (image.Width, image.Height);
        float[] result = new float[image.Pixels.Length];
        int side = (2 * radius) + 1;
        Parallel.For(0, height, context.Parallel, () => new float[side * side], (y, _, near) =>
        {
            for (int x = 0; x < width; x++)
            {
                int n = 0;
                for (int v = Math.Max(0, y - radius); v <= Math.Min(height - 1, y + radius); v++)
                {
                    for (int u = Math.Max(0, x - radius); u <= Math.Min(width - 1, x + radius); u++)
                    {
                        float value = image.Pixels[(v * width) + u];
                        if (float.IsFinite(value))
                        {
                            near[n++] = value;
                        }
                    }
                }

                result[(y * width) + x] = (float)Rank.Median(near.AsSpan(0, n));
            }

            return near;
        }, _ => { });
        return image with { Pixels = result };
    }

    public static FloatImage Subtract(FloatImage a, FloatImage b)
    {
        float[] result = new float[a.Pixels.Length];
        System.Numerics.Tensors.TensorPrimitives.Subtract(a.Pixels, b.Pixels, result);
        return a with { Pixels = result };
    }
}
