using System.Buffers.Binary;
using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;

namespace StarAssay.Engine.Imaging;

/// <content>The definition: one pixel after the other.</content>
public sealed partial class RowDecoder
{
    /// <summary>Decodes all of <paramref name="target"/>.</summary>
    internal void DecodeScalar(ReadOnlySpan<byte> source, Span<float> target)
    {
        switch (pixels.Format)
        {
            case PixelFormat.UInt8:
                DecodeSmall<byte>(source, target);
                break;
            case PixelFormat.Int8:
                DecodeSmall<sbyte>(source, target);
                break;
            case PixelFormat.UInt16:
                DecodeSmall<ushort>(source, target);
                break;
            case PixelFormat.Int16:
                DecodeSmall<short>(source, target);
                break;
            case PixelFormat.UInt32:
                DecodeWide<uint>(source, target);
                break;
            case PixelFormat.Int32:
                DecodeWide<int>(source, target);
                break;
            case PixelFormat.UInt64:
                DecodeWide<ulong>(source, target);
                break;
            case PixelFormat.Int64:
                DecodeWide<long>(source, target);
                break;
            case PixelFormat.Float32:
                ReadOnlySpan<uint> singles = MemoryMarshal.Cast<byte, uint>(source);
                for (int i = 0; i < target.Length; i++)
                {
                    target[i] = Wide(BitConverter.UInt32BitsToSingle(InOrder(singles[i])));
                }

                break;
            default:
                ReadOnlySpan<ulong> doubles = MemoryMarshal.Cast<byte, ulong>(source);
                for (int i = 0; i < target.Length; i++)
                {
                    target[i] = Wide(BitConverter.UInt64BitsToDouble(InOrder(doubles[i])));
                }

                break;
        }
    }

    // Up to 16 bits.
    private void DecodeSmall<T>(ReadOnlySpan<byte> source, Span<float> target)
        where T : unmanaged, IBinaryInteger<T>
    {
        ReadOnlySpan<T> stored = MemoryMarshal.Cast<byte, T>(source);
        for (int i = 0; i < target.Length; i++)
        {
            int v = int.CreateTruncating(InOrder(stored[i]));
            target[i] = v == pixels.Blank ? float.NaN : exact ? v + zero : Wide(v);
        }
    }

    // 32 and 64 bits.
    private void DecodeWide<T>(ReadOnlySpan<byte> source, Span<float> target)
        where T : unmanaged, IBinaryInteger<T>
    {
        ReadOnlySpan<T> stored = MemoryMarshal.Cast<byte, T>(source);

        // A BLANK that the type cannot hold blanks nothing.
        T blank = T.CreateTruncating(pixels.Blank ?? 0);
        bool blanks = pixels.Blank is { } b && long.CreateSaturating(blank) == b;
        for (int i = 0; i < target.Length; i++)
        {
            T v = InOrder(stored[i]);
            target[i] = blanks && v == blank ? float.NaN : Wide(double.CreateTruncating(v));
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private T InOrder<T>(T stored)
        where T : unmanaged
    {
        if (!swap)
        {
            return stored;
        }

        // The type is known when this is compiled, so that one branch is left.
        return Unsafe.SizeOf<T>() switch
        {
            2 => Unsafe.BitCast<ushort, T>(BinaryPrimitives.ReverseEndianness(Unsafe.BitCast<T, ushort>(stored))),
            4 => Unsafe.BitCast<uint, T>(BinaryPrimitives.ReverseEndianness(Unsafe.BitCast<T, uint>(stored))),
            8 => Unsafe.BitCast<ulong, T>(BinaryPrimitives.ReverseEndianness(Unsafe.BitCast<T, ulong>(stored))),
            _ => stored,
        };
    }

    // In double precision, rounded once.
    private float Wide(double stored) => (float)(pixels.Zero + (pixels.Scale * stored));
}
