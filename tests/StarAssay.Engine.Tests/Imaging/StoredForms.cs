using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Tests.Imaging;

/// <summary>One and the same picture in every form that files and arrays come in.</summary>
internal static class StoredForms
{
    /// <summary>Whole numbers from 0 to 65535 in every format that holds them, in both byte orders, and as 16-bit cameras' FITS files
    /// have them (FITS 4.0, section 4.4.2.5 and table 11: signed, most significant byte first, BZERO 32768).</summary>
    public static IEnumerable<(string Name, RawPixels Pixels)> Of(IReadOnlyList<int> counts, int width, int height)
    {
        foreach (bool big in new[] { false, true })
        {
            foreach (PixelFormat format in Enum.GetValues<PixelFormat>())
            {
                if (RawPixels.BytesPerPixel(format) > 1 && format != PixelFormat.Int16)
                {
                    yield return ($"{format}, big-endian {big}",
                        new RawPixels(Store(format, big, counts.Count, i => Bits(format, counts[i])), format, big, width, height));
                }
            }

            yield return ($"Int16 with BZERO, big-endian {big}",
                new RawPixels(Store(PixelFormat.Int16, big, counts.Count, i => Bits(PixelFormat.Int16, counts[i] - 32768)), PixelFormat.Int16, big, width,
                height, 1, 32768));
        }
    }

    /// <summary>Any numbers as floats and doubles, in both byte orders.</summary>
    public static IEnumerable<(string Name, RawPixels Pixels)> OfFloats(IReadOnlyList<float> values, int width, int height) =>
        from format in new[] { PixelFormat.Float32, PixelFormat.Float64 }
        from big in new[] { false, true }
        let bytes = Store(format, big, values.Count, i => Bits(format, values[i]))
        select ($"{format}, big-endian {big}", new RawPixels(bytes, format, big, width, height));

    /// <summary>A picture's pixels, rounded to what a 16-bit camera writes.</summary>
    public static int[] Counts(ReadOnlySpan<float> pixels)
    {
        int[] counts = new int[pixels.Length];
        for (int i = 0; i < counts.Length; i++)
        {
            counts[i] = (int)Math.Clamp(MathF.Round(pixels[i]), 0, 65535);
        }

        return counts;
    }

    /// <summary>Numbers, given by their bits, as bytes.</summary>
    public static byte[] Store(PixelFormat format, bool big, int count, Func<int, ulong> bits)
    {
        int size = RawPixels.BytesPerPixel(format);
        byte[] bytes = new byte[count * size];
        for (int i = 0; i < count; i++)
        {
            ulong stored = bits(i);
            for (int b = 0; b < size; b++)
            {
                bytes[(i * size) + (big ? size - 1 - b : b)] = unchecked((byte)(stored >> (8 * b)));
            }
        }

        return bytes;
    }

    /// <summary>Bits of a number in a format.</summary>
    public static ulong Bits(PixelFormat format, double value) => format switch
    {
        PixelFormat.Float32 => BitConverter.SingleToUInt32Bits((float)value),
        PixelFormat.Float64 => BitConverter.DoubleToUInt64Bits(value),
        _ => unchecked((ulong)(long)value),
    };
}
