namespace StarAssay.Engine.Numerics;

/// <summary>Sorts by value without moving what is sorted.</summary>
internal static class Ranking
{
    /// <summary>Indices from the largest value to the smallest; equal values keep their order. Values must be positive.</summary>
    public static int[] Descending(ReadOnlySpan<float> values)
    {
        // Bits of positive floats grow with the float; the index below them keeps the order and is read back.
        ulong[] keys = new ulong[values.Length];
        for (int i = 0; i < keys.Length; i++)
        {
            keys[i] = ((ulong)~BitConverter.SingleToUInt32Bits(values[i]) << 32) | (uint)i;
        }

        Array.Sort(keys);
        int[] order = new int[keys.Length];
        for (int i = 0; i < order.Length; i++)
        {
            order[i] = (int)(uint)keys[i];
        }

        return order;
    }
}
