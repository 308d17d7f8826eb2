using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics.X86;

namespace StarAssay.Engine.Numerics;

/// <summary>Asks for memory that is needed soon, where the processor lets one ask.</summary>
internal static unsafe class Fetch
{
    private const int Line = 64;

    /// <summary>Brings a record near. Should it be moved meanwhile, the wrong place is fetched and nothing else happens.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static void Ahead<T>(ref readonly T record)
        where T : unmanaged
    {
        if (Sse.IsSupported)
        {
            byte* at = (byte*)Unsafe.AsPointer(ref Unsafe.AsRef(in record));
            for (int b = 0; b < sizeof(T); b += Line)
            {
                Sse.Prefetch0(at + b);
            }

            Sse.Prefetch0(at + sizeof(T) - 1);
        }
    }
}
