using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;

namespace StarAssay.Engine.Numerics;

/// <summary>Parts numbers at even places from those at odd places.</summary>
internal static class EvenOdd
{
    /// <summary>even[k] = source[2 k], odd[k] = source[2 k + 1].</summary>
    /// <param name="source">An even number of floats.</param>
    /// <param name="even">Half as many.</param>
    /// <param name="odd">As many.</param>
    public static void Split(ReadOnlySpan<float> source, Span<float> even, Span<float> odd)
    {
        if (source.Length != 2 * even.Length || even.Length != odd.Length)
        {
            throw new ArgumentException("Lengths do not fit.", nameof(source));
        }

        int k = BitConverter.IsLittleEndian && Vector256.IsHardwareAccelerated ? SplitVectors(source, even, odd) : 0;
        for (; k < even.Length; k++)
        {
            even[k] = source[2 * k];
            odd[k] = source[(2 * k) + 1];
        }
    }

    /// <summary>Pairs of floats taken as 64-bit numbers, of which the lower or the upper half is kept.</summary>
    private static int SplitVectors(ReadOnlySpan<float> source, Span<float> even, Span<float> odd)
    {
        ref float from = ref MemoryMarshal.GetReference(source), low = ref MemoryMarshal.GetReference(even), high = ref MemoryMarshal.GetReference(odd);
        int k = 0;
        for (; k <= even.Length - Vector256<float>.Count; k += Vector256<float>.Count)
        {
            Vector256<ulong> a = Vector256.LoadUnsafe(ref from, (nuint)(2 * k)).AsUInt64();
            Vector256<ulong> b = Vector256.LoadUnsafe(ref from, (nuint)((2 * k) + Vector256<float>.Count)).AsUInt64();
            Vector256.Narrow(a, b).AsSingle().StoreUnsafe(ref low, (nuint)k);
            Vector256.Narrow(a >>> 32, b >>> 32).AsSingle().StoreUnsafe(ref high, (nuint)k);
        }

        return k;
    }
}
