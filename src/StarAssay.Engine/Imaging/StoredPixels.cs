using System.Runtime.CompilerServices;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Imaging;

/// <summary>Formats that kernels can read where they lie.</summary>
internal enum StoredFormat
{
    /// <summary>To be decoded first.</summary>
    Other,

    /// <summary>32-bit floats of this machine's byte order, without scaling.</summary>
    Float,

    /// <summary>16-bit unsigned integers of this machine's byte order, without scaling.</summary>
    UInt16,

    /// <summary>What FITS files of 16-bit cameras hold: signed integers of the other byte order, BZERO 32768.</summary>
    FileUInt16,
}

/// <summary>Tells the formats apart.</summary>
internal static class StoredFormats
{
    /// <summary>The format of a frame's pixels.</summary>
    public static StoredFormat Of(RawPixels pixels)
    {
        bool native = pixels.BigEndian != BitConverter.IsLittleEndian;
        bool whole = pixels.Scale == 1 && pixels.Blank is null;
        return pixels.Format switch
        {
            PixelFormat.Float32 when native && whole && pixels.Zero == 0 => StoredFormat.Float,
            PixelFormat.UInt16 when native && whole && pixels.Zero == 0 => StoredFormat.UInt16,
            PixelFormat.Int16 when !native && whole && pixels.Zero == 32768 => StoredFormat.FileUInt16,
            _ => StoredFormat.Other,
        };
    }
}

/// <summary>How pixels come out of a row as the file holds it, for kernels that read the stored bytes themselves.</summary>
internal interface IStoredPixels
{
    /// <summary>Whether a pixel can be NaN or infinite.</summary>
    static abstract bool MayBeMissing { get; }

    /// <summary>Bytes of a pixel.</summary>
    static abstract int Size { get; }

    /// <summary>As many pixels as the register holds.</summary>
    static abstract T Load<T>(ref byte row, nint x)
        where T : struct, ILanes<T>;

    /// <summary>Raw value of 1 ADU.</summary>
    static abstract float RawPerAdu { get; }

    /// <summary>ADU where the raw value is 0.</summary>
    static abstract float RawZero { get; }

    /// <summary>As many pixels as the register holds, in whatever unit takes least to load: raw = (ADU - RawZero) RawPerAdu.</summary>
    static abstract T LoadRaw<T>(ref byte row, nint x)
        where T : struct, ILanes<T>;

    /// <summary>One pixel.</summary>
    static abstract float Load(ref byte row, nint x);
}

/// <summary>32-bit floats of this machine's byte order.</summary>
internal readonly struct StoredFloat : IStoredPixels
{
    public static bool MayBeMissing => true;

    public static int Size => sizeof(float);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static T Load<T>(ref byte row, nint x)
        where T : struct, ILanes<T> => T.Load(ref Unsafe.As<byte, float>(ref row), x);

    public static float RawPerAdu => 1;

    public static float RawZero => 0;

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static T LoadRaw<T>(ref byte row, nint x)
        where T : struct, ILanes<T> => Load<T>(ref row, x);

    public static float Load(ref byte row, nint x) => Unsafe.Add(ref Unsafe.As<byte, float>(ref row), x);
}

/// <summary>16-bit unsigned integers of this machine's byte order.</summary>
internal readonly struct StoredUInt16 : IStoredPixels
{
    public static bool MayBeMissing => false;

    public static int Size => sizeof(ushort);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static T Load<T>(ref byte row, nint x)
        where T : struct, ILanes<T> => T.LoadUInt16(ref Unsafe.As<byte, ushort>(ref row), x, false);

    public static float RawPerAdu => 1;

    public static float RawZero => 0;

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static T LoadRaw<T>(ref byte row, nint x)
        where T : struct, ILanes<T> => Load<T>(ref row, x);

    public static float Load(ref byte row, nint x) => Unsafe.Add(ref Unsafe.As<byte, ushort>(ref row), x);
}

/// <summary>16-bit signed integers of the other byte order with BZERO 32768.</summary>
internal readonly struct StoredFileUInt16 : IStoredPixels
{
    private const float Zero = 32768;

    public static bool MayBeMissing => false;

    public static int Size => sizeof(short);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static T Load<T>(ref byte row, nint x)
        where T : struct, ILanes<T> => T.LoadInt16(ref Unsafe.As<byte, ushort>(ref row), x, true) + T.Of(Zero);

    public static float RawPerAdu => 65536;

    public static float RawZero => Zero;

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static T LoadRaw<T>(ref byte row, nint x)
        where T : struct, ILanes<T> => T.LoadInt16SwappedHigh(ref Unsafe.As<byte, ushort>(ref row), x);

    public static float Load(ref byte row, nint x) =>
        System.Buffers.Binary.BinaryPrimitives.ReverseEndianness(Unsafe.Add(ref Unsafe.As<byte, short>(ref row), x)) + Zero;
}
