using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Imaging;

/// <content>The formats that cameras write, a register at a time; the scalar part finishes each row and rounds alike.</content>
public sealed partial class RowDecoder
{
    /// <summary>Decodes as many whole registers as fit; returns the number of pixels done. Only for BSCALE 1, a whole BZERO and no
    /// BLANK.</summary>
    internal int DecodeVectors(ReadOnlySpan<byte> source, Span<float> target) =>
        Vector512.IsHardwareAccelerated ? DecodeLanes<Lanes512>(source, target)
        : Vector256.IsHardwareAccelerated ? DecodeLanes<Lanes256>(source, target)
        : DecodeLanes<Lanes128>(source, target);

    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private int DecodeLanes<T>(ReadOnlySpan<byte> source, Span<float> target)
        where T : struct, ILanes<T>
    {
        int whole = target.Length - (target.Length % T.Count);
        ref byte bytes = ref MemoryMarshal.GetReference(source);
        ref ushort shorts = ref Unsafe.As<byte, ushort>(ref bytes);
        ref float floats = ref Unsafe.As<byte, float>(ref bytes);
        ref float to = ref MemoryMarshal.GetReference(target);
        T z = T.Of(zero);
        switch (pixels.Format)
        {
            case PixelFormat.UInt8:
                for (nint i = 0; i < whole; i += T.Count)
                {
                    T.Store(T.LoadByte(ref bytes, i) + z, ref to, i);
                }

                return whole;
            case PixelFormat.UInt16 when swap:
                for (nint i = 0; i < whole; i += T.Count)
                {
                    T.Store(T.LoadUInt16(ref shorts, i, true) + z, ref to, i);
                }

                return whole;
            case PixelFormat.UInt16:
                for (nint i = 0; i < whole; i += T.Count)
                {
                    T.Store(T.LoadUInt16(ref shorts, i, false) + z, ref to, i);
                }

                return whole;
            case PixelFormat.Int16 when swap:
                for (nint i = 0; i < whole; i += T.Count)
                {
                    T.Store(T.LoadInt16(ref shorts, i, true) + z, ref to, i);
                }

                return whole;
            case PixelFormat.Int16:
                for (nint i = 0; i < whole; i += T.Count)
                {
                    T.Store(T.LoadInt16(ref shorts, i, false) + z, ref to, i);
                }

                return whole;
            case PixelFormat.Float32 when swap:
                for (nint i = 0; i < whole; i += T.Count)
                {
                    T.Store(T.LoadSwapped(ref floats, i) + z, ref to, i);
                }

                return whole;
            default:
                return 0;
        }
    }
}
