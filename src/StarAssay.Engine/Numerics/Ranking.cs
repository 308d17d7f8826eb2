namespace StarAssay.Engine.Numerics;

/// <summary>Sorts by value without moving what is sorted; equal values keep their order, NaN comes last.</summary>
internal static class Ranking
{
    private const int DigitBits = 11;

    /// <summary>Indices from the smallest value to the largest.</summary>
    public static int[] Ascending(ReadOnlySpan<double> values)
    {
        ulong[] keys = new ulong[values.Length];
        for (int i = 0; i < keys.Length; i++)
        {
            keys[i] = double.IsNaN(values[i]) ? ulong.MaxValue : Key(values[i]);
        }

        return Sorted(keys);
    }

    /// <summary>Indices from the largest value to the smallest.</summary>
    public static int[] Descending(ReadOnlySpan<double> values)
    {
        ulong[] keys = new ulong[values.Length];
        for (int i = 0; i < keys.Length; i++)
        {
            keys[i] = double.IsNaN(values[i]) ? ulong.MaxValue : ~Key(values[i]);
        }

        return Sorted(keys);
    }

    /// <summary>Indices from the largest value to the smallest.</summary>
    public static int[] Descending(ReadOnlySpan<float> values)
    {
        double[] wide = new double[values.Length];
        for (int i = 0; i < wide.Length; i++)
        {
            wide[i] = values[i];
        }

        return Descending(wide);
    }

    /// <summary>A whole number that grows with the value: the bits, those of negative values turned over.</summary>
    private static ulong Key(double value)
    {
        long bits = BitConverter.DoubleToInt64Bits(value == 0 ? 0 : value);
        return (ulong)(bits ^ ((bits >> 63) | long.MinValue));
    }

    /// <summary>Indices by growing key: digit by digit from the last one, each pass keeping the order of the one before.</summary>
    private static int[] Sorted(ulong[] keys)
    {
        int n = keys.Length;
        int[] order = new int[n], nextOrder = new int[n];
        ulong[] nextKeys = new ulong[n];
        ulong different = 0;
        for (int i = 0; i < n; i++)
        {
            order[i] = i;
            different |= keys[i] ^ keys[0];
        }

        Span<int> start = stackalloc int[(1 << DigitBits) + 1];
        for (int shift = 0; shift < 64; shift += DigitBits)
        {
            const ulong Mask = (1UL << DigitBits) - 1;
            if (((different >> shift) & Mask) == 0)
            {
                continue;
            }

            start.Clear();
            foreach (ulong key in keys)
            {
                start[(int)((key >> shift) & Mask) + 1]++;
            }

            for (int d = 1; d < start.Length; d++)
            {
                start[d] += start[d - 1];
            }

            for (int i = 0; i < n; i++)
            {
                int to = start[(int)((keys[i] >> shift) & Mask)]++;
                nextKeys[to] = keys[i];
                nextOrder[to] = order[i];
            }

            (keys, nextKeys) = (nextKeys, keys);
            (order, nextOrder) = (nextOrder, order);
        }

        return order;
    }
}
