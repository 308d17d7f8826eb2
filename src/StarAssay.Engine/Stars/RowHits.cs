using System.Runtime.CompilerServices;

namespace StarAssay.Engine.Stars;

/// <summary>The smoothed pixels of one row that lie above the threshold, from left to right.</summary>
internal sealed class RowHits(int width)
{
    private readonly int[] columns = GC.AllocateUninitializedArray<int>(width);
    private readonly float[] values = GC.AllocateUninitializedArray<float>(width);

    /// <summary>How many there are.</summary>
    public int Count { get; private set; }

    /// <summary>Their columns, rising.</summary>
    public ReadOnlySpan<int> Columns => columns.AsSpan(0, Count);

    /// <summary>Their smoothed values.</summary>
    public ReadOnlySpan<float> Values => values.AsSpan(0, Count);

    /// <summary>Forgets all.</summary>
    public void Clear() => Count = 0;

    /// <summary>Adds one, right of those before.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public void Add(int column, float value)
    {
        columns[Count] = column;
        values[Count++] = value;
    }
}
