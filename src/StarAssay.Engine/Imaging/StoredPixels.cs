using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Imaging;

/// <summary>How pixels come out of a row as the file holds it, for kernels that read the stored bytes themselves. Scaling is
/// left out: it commutes with every filter whose taps sum to 1.</summary>
internal interface IStoredPixels
{
    /// <summary>Whether a pixel can be NaN or infinite.</summary>
    static abstract bool MayBeMissing { get; }

    /// <summary>Bytes of a pixel.</summary>
    static abstract int Size { get; }

    /// <summary>As many pixels as the register holds.</summary>
    static abstract T Load<T>(ref byte row, nint x)
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

    public static float Load(ref byte row, nint x) => Unsafe.Add(ref Unsafe.As<byte, ushort>(ref row), x);
}

/// <summary>16-bit signed integers of the other byte order: what FITS holds, read on a little-endian machine.</summary>
internal readonly struct StoredInt16Swapped : IStoredPixels
{
    public static bool MayBeMissing => false;

    public static int Size => sizeof(short);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static T Load<T>(ref byte row, nint x)
        where T : struct, ILanes<T> => T.LoadInt16(ref Unsafe.As<byte, ushort>(ref row), x, true);

    public static float Load(ref byte row, nint x) =>
        System.Buffers.Binary.BinaryPrimitives.ReverseEndianness(Unsafe.Add(ref Unsafe.As<byte, short>(ref row), x));
}
