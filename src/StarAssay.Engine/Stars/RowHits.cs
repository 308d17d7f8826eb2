using System.Numerics;
using System.Runtime.CompilerServices;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <summary>The smoothed pixels of one row that lie above the threshold.</summary>
/// <remarks>Their columns are listed from left to right; their values stand in a row of the frame's width, where they are found
/// without a search. All other places of it hold -infinity.</remarks>
internal sealed unsafe class RowHits
{
    private readonly int[] columns;
    private readonly float[] values;

    // The arrays are pinned for life, so that this address may be kept. One place more on either side.
    private readonly float* value;

    /// <summary>Makes room for a row.</summary>
    /// <param name="width">Pixels of a row.</param>
    public RowHits(int width)
    {
        columns = GC.AllocateUninitializedArray<int>(width);
        values = GC.AllocateUninitializedArray<float>(width + 2, pinned: true);
        Array.Fill(values, float.NegativeInfinity);
        value = (float*)Unsafe.AsPointer(ref values[0]) + 1;
    }

    /// <summary>How many there are.</summary>
    public int Count { get; private set; }

    /// <summary>Their columns, rising.</summary>
    public ReadOnlySpan<int> Columns => columns.AsSpan(0, Count);

    /// <summary>Smoothed values, column by column; -infinity where the threshold is not passed.</summary>
    public ReadOnlySpan<float> Values => values.AsSpan(1, columns.Length);

    /// <summary>Forgets all.</summary>
    public void Clear()
    {
        foreach (int x in Columns)
        {
            value[x] = float.NegativeInfinity;
        }

        Count = 0;
    }

    /// <summary>Forgets all, and what stands at places that are not listed: NaN is above no threshold, nor below.</summary>
    public void Wipe()
    {
        Array.Fill(values, float.NegativeInfinity);
        Count = 0;
    }

    /// <summary>Adds one, right of those before.</summary>
    public void Add(int column, float smoothed)
    {
        columns[Count++] = column;
        values[column + 1] = smoothed;
    }

    /// <summary>Adds those lanes of a register that lie above their threshold, right of those before.</summary>
    /// <param name="first">Column of the first lane.</param>
    /// <param name="smoothed">Smoothed values.</param>
    /// <param name="threshold">What they are held against.</param>
    /// <param name="above">Bits of those that lie above it.</param>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public void Add<T>(int first, T smoothed, T threshold, ulong above)
        where T : struct, ILanes<T>
    {
        if (first < 0 || first + T.Count > columns.Length)
        {
            throw new ArgumentOutOfRangeException(nameof(first));
        }

        ref float place = ref *(value + first);
        T.Store(T.IfAtMost(smoothed, threshold, T.Load(ref place, 0), smoothed), ref place, 0);
        int count = Count;
        for (; above != 0; above &= above - 1)
        {
            columns[count++] = first + BitOperations.TrailingZeroCount(above);
        }

        Count = count;
    }

    /// <summary>Lists the columns of those that none of their eight neighbors outshines. Of equal neighbors one is taken: that with the
    /// lower row, and in a row the left one.</summary>
    /// <param name="lower">The row before.</param>
    /// <param name="upper">The row after.</param>
    /// <param name="found">Filled with columns.</param>
    /// <returns>How many.</returns>
    public int Peaks(RowHits lower, RowHits upper, Span<int> found)
    {
        if (found.Length < Count)
        {
            throw new ArgumentException("Too short.", nameof(found));
        }

        // Nothing depends on a branch here: whether a pixel is higher than its neighbor cannot be foreseen.
        int peaks = 0;
        ref int target = ref System.Runtime.InteropServices.MemoryMarshal.GetReference(found);
        foreach (int x in Columns)
        {
            float v = value[x];
            float* a = lower.value + x, b = upper.value + x;
            bool before = v > value[x - 1] & v > a[-1] & v > a[0] & v > a[1];
            bool after = v >= value[x + 1] & v >= b[-1] & v >= b[0] & v >= b[1];
            Unsafe.Add(ref target, peaks) = x;
            peaks += before & after ? 1 : 0;
        }

        return peaks;
    }
}
