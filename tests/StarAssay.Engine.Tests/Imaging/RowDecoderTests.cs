using System.Buffers.Binary;
using System.Runtime.InteropServices;
using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Tests.Imaging;

/// <summary>Truth: the FITS standard's physical = BZERO + BSCALE x stored (FITS 4.0, section 4.4.2.5), worked out in
/// double precision here; and the scalar twin for the vector path.</summary>
public class RowDecoderTests
{
    private static readonly int[] Lengths = [1, 3, 4, 5, 7, 8, 9, 15, 16, 17, 31, 32, 33, 63, 64, 65, 127, 128, 129, 2048];

    public static TheoryData<PixelFormat, bool> Formats()
    {
        var data = new TheoryData<PixelFormat, bool>();
        foreach (PixelFormat format in Enum.GetValues<PixelFormat>())
        {
            data.Add(format, false);
            data.Add(format, true);
        }

        return data;
    }

    [Theory]
    [MemberData(nameof(Formats))]
    public void Every_format_and_byte_order_gives_the_standard_value(PixelFormat format, bool bigEndian)
    {
        var random = new Random(7);
        foreach (int n in Lengths)
        {
            (byte[] bytes, double[] stored) = Make(format, bigEndian, n, random);
            foreach ((double scale, double zero) in new[] { (1.0, 0.0), (1.0, 32768.0), (0.25, -3.5) })
            {
                var decoder = new RowDecoder(new RawPixels(bytes, format, bigEndian, n, 1, scale, zero));
                float[] row = new float[n + 2];
                row[0] = row[n + 1] = -777;
                decoder.Decode(0, 0, row.AsSpan(1, n));
                Assert.Equal(-777, row[0]);
                Assert.Equal(-777, row[n + 1]);
                for (int i = 0; i < n; i++)
                {
                    double expected = zero + (scale * stored[i]);

                    // Single precision: half a unit in the last place of each term and of the result.
                    double tolerance = 1.2e-7 * (Math.Abs(scale * stored[i]) + Math.Abs(zero));
                    Assert.True(Math.Abs(row[i + 1] - expected) <= tolerance, $"{format} big={bigEndian} n={n} i={i}: {row[i + 1]} is not {expected}");
                }
            }
        }
    }

    [Theory]
    [MemberData(nameof(Formats))]
    public void Vector_path_equals_scalar_twin_bit_for_bit(PixelFormat format, bool bigEndian)
    {
        var random = new Random(8);
        foreach (int n in Lengths)
        {
            // BSCALE 1 and, but for floats, a whole BZERO: what registers decode.
            (byte[] bytes, _) = Make(format, bigEndian, n, random);
            double zero = format == PixelFormat.Float32 ? 0 : 100;
            var decoder = new RowDecoder(new RawPixels(bytes, format, bigEndian, n, 1, 1, zero));
            float[] scalar = new float[n], vector = new float[n];
            decoder.DecodeScalar(bytes, scalar);
            decoder.Decode(0, 0, vector);
            Assert.Equal(scalar, vector);
        }
    }

    [Theory]
    [InlineData(0.1, 0)]
    [InlineData(1, 0.3)]
    [InlineData(1.0 / 3, 32768)]
    [InlineData(1, 20_000_000)]
    [InlineData(-1, 7)]
    public void Scaled_pixels_have_the_same_bits_in_every_format_and_are_rounded_once(double scale, double zero)
    {
        // FITS 4.0, section 4.4.2.5, in double precision; the float nearest to it.
        int[] stored = [.. Enumerable.Range(0, 128)];
        float[] expected = [.. stored.Select(v => (float)(zero + (scale * v)))], row = new float[stored.Length];
        foreach (PixelFormat format in Enum.GetValues<PixelFormat>())
        {
            foreach (bool big in new[] { false, true })
            {
                byte[] bytes = StoredForms.Store(format, big, stored.Length, i => StoredForms.Bits(format, stored[i]));
                new RowDecoder(new RawPixels(bytes, format, big, stored.Length, 1, scale, zero)).Decode(0, 0, row);
                Assert.Equal(expected, row);
            }
        }
    }

    [Fact]
    public void Blank_and_missing_become_NaN()
    {
        byte[] bytes = MemoryMarshal.AsBytes<short>([5, -32768, 7]).ToArray();
        var decoder = new RowDecoder(new RawPixels(bytes, PixelFormat.Int16, false, 3, 1, 1, 10, -32768));
        float[] row = new float[3];
        decoder.Decode(0, 0, row);
        Assert.Equal([15f, float.NaN, 17f], row);
        var floats = new RowDecoder(RawPixels.FromFloats([1, float.NaN, float.PositiveInfinity], 3, 1));
        floats.Decode(0, 0, row);
        Assert.Equal([1f, float.NaN, float.PositiveInfinity], row);
    }

    [Theory]
    [InlineData(PixelFormat.UInt8, 255L, new byte[] { 255 }, true)]
    [InlineData(PixelFormat.Int8, -1L, new byte[] { 255 }, true)]
    [InlineData(PixelFormat.UInt16, 65535L, new byte[] { 255, 255 }, true)]
    [InlineData(PixelFormat.Int32, -1L, new byte[] { 255, 255, 255, 255 }, true)]
    [InlineData(PixelFormat.UInt32, 4294967295L, new byte[] { 255, 255, 255, 255 }, true)]
    [InlineData(PixelFormat.UInt32, -1L, new byte[] { 255, 255, 255, 255 }, false)]
    [InlineData(PixelFormat.Int64, -1L, new byte[] { 255, 255, 255, 255, 255, 255, 255, 255 }, true)]
    [InlineData(PixelFormat.UInt64, -1L, new byte[] { 255, 255, 255, 255, 255, 255, 255, 255 }, false)]
    [InlineData(PixelFormat.UInt64, 256L, new byte[] { 0, 1, 0, 0, 0, 0, 0, 0 }, true)]
    [InlineData(PixelFormat.Int32, 4294967551L, new byte[] { 255, 0, 0, 0 }, false)]
    public void Blank_is_the_number_and_not_its_bits(PixelFormat format, long blank, byte[] pixel, bool missing)
    {
        foreach (bool big in new[] { false, true })
        {
            byte[] bytes = big ? [.. pixel.Reverse()] : pixel;
            float[] row = new float[1];
            new RowDecoder(new RawPixels(bytes, format, big, 1, 1, 1, 0, blank)).Decode(0, 0, row);
            Assert.Equal(missing, float.IsNaN(row[0]));
        }
    }

    [Fact]
    public void Camera_integers_with_BZERO_are_exact_over_their_whole_range()
    {
        short[] stored = [.. Enumerable.Range(-32768, 65536).Select(i => (short)i)];
        byte[] bytes = new byte[stored.Length * 2];
        for (int i = 0; i < stored.Length; i++)
        {
            BinaryPrimitives.WriteInt16BigEndian(bytes.AsSpan(2 * i), stored[i]);
        }

        var decoder = new RowDecoder(new RawPixels(bytes, PixelFormat.Int16, true, 65536, 1, 1, 32768));
        float[] row = new float[65536];
        decoder.Decode(0, 0, row);
        Assert.Equal(Enumerable.Range(0, 65536).Select(i => (float)i), row);
    }

    [Fact]
    public void Ranges_outside_the_frame_are_refused()
    {
        var decoder = new RowDecoder(RawPixels.FromFloats(new float[12], 4, 3));
        Assert.Throws<ArgumentOutOfRangeException>(() => decoder.Decode(3, 0, new float[1]));
        Assert.Throws<ArgumentOutOfRangeException>(() => decoder.Decode(0, 2, new float[3]));
        Assert.Throws<ArgumentOutOfRangeException>(() => decoder.Decode(-1, 0, new float[1]));
    }

    private static (byte[] Bytes, double[] Stored) Make(PixelFormat format, bool big, int n, Random random)
    {
        int size = RawPixels.BytesPerPixel(format);
        byte[] bytes = new byte[n * size];
        double[] stored = new double[n];
        for (int i = 0; i < n; i++)
        {
            Span<byte> at = bytes.AsSpan(i * size, size);
            switch (format)
            {
                case PixelFormat.Float32:
                    float f = (float)((random.NextDouble() - 0.3) * 1e5);
                    BitConverter.TryWriteBytes(at, f);
                    stored[i] = f;
                    break;
                case PixelFormat.Float64:
                    stored[i] = (random.NextDouble() - 0.3) * 1e5;
                    BitConverter.TryWriteBytes(at, stored[i]);
                    break;
                default:
                    random.NextBytes(at);
                    stored[i] = format switch
                    {
                        PixelFormat.UInt8 => at[0],
                        PixelFormat.Int8 => (sbyte)at[0],
                        PixelFormat.UInt16 => BitConverter.ToUInt16(at),
                        PixelFormat.Int16 => BitConverter.ToInt16(at),
                        PixelFormat.UInt32 => BitConverter.ToUInt32(at),
                        PixelFormat.Int32 => BitConverter.ToInt32(at),
                        PixelFormat.UInt64 => BitConverter.ToUInt64(at),
                        _ => BitConverter.ToInt64(at),
                    };
                    break;
            }

            if (big)
            {
                at.Reverse();
            }
        }

        return (bytes, stored);
    }
}
