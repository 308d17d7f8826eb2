using System.Buffers.Binary;
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
                for (int i = 0; i < target.Length; i++)
                {
                    target[i] = Small(source[i]);
                }

                break;
            case PixelFormat.Int8:
                for (int i = 0; i < target.Length; i++)
                {
                    target[i] = Small((sbyte)source[i]);
                }

                break;
            case PixelFormat.UInt16:
                ReadOnlySpan<ushort> u2 = MemoryMarshal.Cast<byte, ushort>(source);
                for (int i = 0; i < target.Length; i++)
                {
                    target[i] = Small(swap ? BinaryPrimitives.ReverseEndianness(u2[i]) : u2[i]);
                }

                break;
            case PixelFormat.Int16:
                ReadOnlySpan<short> i2 = MemoryMarshal.Cast<byte, short>(source);
                for (int i = 0; i < target.Length; i++)
                {
                    target[i] = Small(swap ? BinaryPrimitives.ReverseEndianness(i2[i]) : i2[i]);
                }

                break;
            case PixelFormat.UInt32:
                ReadOnlySpan<uint> u4 = MemoryMarshal.Cast<byte, uint>(source);
                for (int i = 0; i < target.Length; i++)
                {
                    uint v = swap ? BinaryPrimitives.ReverseEndianness(u4[i]) : u4[i];
                    target[i] = v == pixels.Blank ? float.NaN : Wide(v);
                }

                break;
            case PixelFormat.Int32:
                ReadOnlySpan<int> i4 = MemoryMarshal.Cast<byte, int>(source);
                for (int i = 0; i < target.Length; i++)
                {
                    int v = swap ? BinaryPrimitives.ReverseEndianness(i4[i]) : i4[i];
                    target[i] = v == pixels.Blank ? float.NaN : Wide(v);
                }

                break;
            case PixelFormat.UInt64:
                ReadOnlySpan<ulong> u8 = MemoryMarshal.Cast<byte, ulong>(source);
                for (int i = 0; i < target.Length; i++)
                {
                    ulong v = swap ? BinaryPrimitives.ReverseEndianness(u8[i]) : u8[i];
                    target[i] = pixels.Blank >= 0 && v == (ulong)pixels.Blank.Value ? float.NaN : Wide(v);
                }

                break;
            case PixelFormat.Int64:
                ReadOnlySpan<long> i8 = MemoryMarshal.Cast<byte, long>(source);
                for (int i = 0; i < target.Length; i++)
                {
                    long v = swap ? BinaryPrimitives.ReverseEndianness(i8[i]) : i8[i];
                    target[i] = v == pixels.Blank ? float.NaN : Wide(v);
                }

                break;
            case PixelFormat.Float32:
                ReadOnlySpan<uint> f4 = MemoryMarshal.Cast<byte, uint>(source);
                for (int i = 0; i < target.Length; i++)
                {
                    float v = BitConverter.UInt32BitsToSingle(swap ? BinaryPrimitives.ReverseEndianness(f4[i]) : f4[i]);
                    target[i] = float.MultiplyAddEstimate(v, scale, zero);
                }

                break;
            default:
                ReadOnlySpan<ulong> f8 = MemoryMarshal.Cast<byte, ulong>(source);
                for (int i = 0; i < target.Length; i++)
                {
                    target[i] = Wide(BitConverter.UInt64BitsToDouble(swap ? BinaryPrimitives.ReverseEndianness(f8[i]) : f8[i]));
                }

                break;
        }
    }

    private float Small(int stored) => stored == pixels.Blank ? float.NaN : float.MultiplyAddEstimate(stored, scale, zero);

    private float Wide(double stored) => (float)(pixels.Zero + (pixels.Scale * stored));
}
