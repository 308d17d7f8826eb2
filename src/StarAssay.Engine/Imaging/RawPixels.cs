using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging;

/// <summary>How one stored pixel is encoded.</summary>
public enum PixelFormat
{
    /// <summary>8-bit unsigned (BITPIX 8).</summary>
    UInt8,

    /// <summary>8-bit signed.</summary>
    Int8,

    /// <summary>16-bit unsigned.</summary>
    UInt16,

    /// <summary>16-bit signed (BITPIX 16).</summary>
    Int16,

    /// <summary>32-bit unsigned.</summary>
    UInt32,

    /// <summary>32-bit signed (BITPIX 32).</summary>
    Int32,

    /// <summary>64-bit unsigned.</summary>
    UInt64,

    /// <summary>64-bit signed (BITPIX 64).</summary>
    Int64,

    /// <summary>IEEE single (BITPIX -32).</summary>
    Float32,

    /// <summary>IEEE double (BITPIX -64).</summary>
    Float64,
}

/// <summary>
/// Pixels as the file holds them: bytes, encoding, byte order and the linear scaling
/// physical = <see cref="Zero"/> + <see cref="Scale"/> x stored. Rows follow each other without gaps,
/// the first row is y = 0 (FITS order, y up).
/// </summary>
public sealed class RawPixels
{
    /// <summary>Checks once that sizes fit; inner loops then trust.</summary>
    /// <param name="bytes">The stored bytes, exactly width x height pixels.</param>
    /// <param name="format">Encoding of one pixel.</param>
    /// <param name="bigEndian">True for FITS byte order.</param>
    /// <param name="width">Pixels along x.</param>
    /// <param name="height">Pixels along y.</param>
    /// <param name="scale">BSCALE.</param>
    /// <param name="zero">BZERO.</param>
    /// <param name="blank">Stored integer that means "no value" (BLANK), or null.</param>
    public RawPixels(ReadOnlyMemory<byte> bytes, PixelFormat format, bool bigEndian, int width, int height,
        double scale = 1, double zero = 0, long? blank = null)
    {
        if (width <= 0 || height <= 0)
        {
            throw new InputException("frame.empty", $"The image has no pixels ({width} x {height}). Check that the file was written completely.");
        }

        long need = (long)width * height * BytesPerPixel(format);
        if (bytes.Length != need)
        {
            throw new InputException("frame.size",
                $"The image should hold {need} bytes ({width} x {height} pixels of {format}) but {bytes.Length} were given. The file may be truncated; copy " +
                    "it from the camera again.");
        }

        Bytes = bytes;
        Format = format;
        BigEndian = bigEndian;
        Width = width;
        Height = height;
        Scale = scale;
        Zero = zero;
        Blank = blank;
    }

    /// <summary>The stored bytes.</summary>
    public ReadOnlyMemory<byte> Bytes { get; }

    /// <summary>Encoding of one pixel.</summary>
    public PixelFormat Format { get; }

    /// <summary>True when the most significant byte comes first.</summary>
    public bool BigEndian { get; }

    /// <summary>Pixels along x.</summary>
    public int Width { get; }

    /// <summary>Pixels along y.</summary>
    public int Height { get; }

    /// <summary>BSCALE.</summary>
    public double Scale { get; }

    /// <summary>BZERO.</summary>
    public double Zero { get; }

    /// <summary>Stored integer that means "no value", or null.</summary>
    public long? Blank { get; }

    /// <summary>Bytes of one stored pixel.</summary>
    public static int BytesPerPixel(PixelFormat format) => format switch
    {
        PixelFormat.UInt8 or PixelFormat.Int8 => 1,
        PixelFormat.UInt16 or PixelFormat.Int16 => 2,
        PixelFormat.UInt32 or PixelFormat.Int32 or PixelFormat.Float32 => 4,
        _ => 8,
    };

    /// <summary>Wraps floats in native order, for simulated and calibrated frames.</summary>
    public static RawPixels FromFloats(float[] pixels, int width, int height)
    {
        byte[] bytes = new byte[pixels.Length * sizeof(float)];
        Buffer.BlockCopy(pixels, 0, bytes, 0, bytes.Length);
        return new RawPixels(bytes, PixelFormat.Float32, !BitConverter.IsLittleEndian, width, height);
    }

    /// <summary>Wraps 16-bit numbers in native order, as a camera writes them.</summary>
    public static RawPixels FromUInt16(ushort[] pixels, int width, int height)
    {
        byte[] bytes = new byte[pixels.Length * sizeof(ushort)];
        Buffer.BlockCopy(pixels, 0, bytes, 0, bytes.Length);
        return new RawPixels(bytes, PixelFormat.UInt16, !BitConverter.IsLittleEndian, width, height);
    }
}
