namespace StarAssay.Engine.Numerics;

/// <summary>Random numbers for many pieces of work at once, each with its own.</summary>
/// <remarks>The runtime's generator begins with like numbers for seeds that follow one another; the first numbers of a thousand streams
/// summed would then scatter by far too much or too little. Seeds are scattered first (the finalizer of MurmurHash3, Appleby 2011).</remarks>
internal static class RandomStream
{
    /// <summary>The stream of one piece of work.</summary>
    public static Random Of(int seed, int piece) => new(unchecked((int)Scattered(Scattered((uint)seed + 0x9E3779B9) ^ (uint)piece)));

    private static uint Scattered(uint h)
    {
        h = unchecked((h ^ (h >> 16)) * 0x85EBCA6B);
        h = unchecked((h ^ (h >> 13)) * 0xC2B2AE35);
        return h ^ (h >> 16);
    }
}
