using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Pixels of a spectrum as floats with wavelengths along the rows; NaN = do not use.</summary>
internal sealed class SpectrumImage
{
    private SpectrumImage(float[] pixels, int width, int height, Frame frame)
    {
        Pixels = pixels;
        Width = width;
        Height = height;
        Frame = frame;
    }

    public float[] Pixels { get; }

    public int Width { get; }

    public int Height { get; }

    public Frame Frame { get; }

    /// <summary>Number of pixels at or above saturation (given, or the repeated highest value).</summary>
    public int Clipped { get; private set; }

    public bool[]? ClippedAt { get; private set; }

    public static SpectrumImage From(Frame frame, DispersionAxis axis)
    {
        frame.RequireConsistent();
        int w = frame.Width, h = frame.Height;
        var flat = new float[w * h];
        var reader = new FrameReader(frame);
        for (int y = 0; y < h; y++)
        {
            reader.Row(y, 0, flat.AsSpan(y * w, w));
        }

        float[] pixels = flat;
        if (axis == DispersionAxis.Y)
        {
            pixels = new float[flat.Length];
            for (int y = 0; y < h; y++)
            {
                for (int x = 0; x < w; x++)
                {
                    pixels[(x * h) + y] = flat[(y * w) + x];
                }
            }

            (w, h) = (h, w);
        }

        var image = new SpectrumImage(pixels, w, h, frame);
        image.MarkClipped();
        return image;
    }

    private void MarkClipped()
    {
        double level = Frame.SaturationAdu;
        if (double.IsNaN(level))
        {
            // Unknown: a highest value that many pixels share is a ceiling, not light.
            float top = float.NegativeInfinity;
            foreach (float v in Pixels)
            {
                top = v > top ? v : top;
            }

            int same = 0;
            foreach (float v in Pixels)
            {
                same += v == top ? 1 : 0;
            }

            level = same >= 20 ? top : double.PositiveInfinity;
        }

        ClippedAt = new bool[Pixels.Length];
        for (int i = 0; i < Pixels.Length; i++)
        {
            if (Pixels[i] >= level)
            {
                ClippedAt[i] = true;
                Clipped++;
            }
        }
    }
}
