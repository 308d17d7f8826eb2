using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics.X86;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <content>The same: first the column taps and the screen everywhere, then the row taps beside what passed.</content>
internal sealed unsafe partial class MatchedFilter
{
    internal bool FindLanes<T, TPixels>(byte** inputs, int width, Limits limits, ReadOnlySpan<RowHits> hits, Screen screen, byte* next)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        int count = ScreenColumns<T, TPixels>(inputs, width, limits, screen, next);
        if (count < 0)
        {
            return false;
        }

        Decide<T, TPixels>(inputs, width, limits.Threshold, hits, screen, count);
        return true;
    }

    /// <summary>Notes what passes the screen; -1 when a pixel is missing.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private int ScreenColumns<T, TPixels>(byte** inputs, int width, Limits limits, Screen screen, byte* next)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        T c = T.Of(center), n = T.Of(near), f = T.Of(far), zero = T.Of(0), missing = zero;
        T below = T.Of(limits.Below), above = T.Of(limits.Below * AbovePerBelow);
        float* threshold = limits.Threshold;
        byte* r0 = inputs[0], r1 = inputs[1], r2 = inputs[2], r3 = inputs[3], r4 = inputs[4], r5 = inputs[5], r6 = inputs[6], r7 = inputs[7];
        int count = 0;
        int last = width - T.Count;

        // The column to the left of the first is the first again.
        T b0 = T.Of(Down<TPixels>(inputs, 0)), b1 = T.Of(Down<TPixels>(inputs + 1, 0)), b2 = T.Of(Down<TPixels>(inputs + 2, 0)), b3 = T.Of(Down<TPixels>(inputs + 3, 0));
        fixed (int* columns = screen.Columns)
        fixed (ulong* masks = screen.Bits)
        {
            for (nint x = 0; x < last; x += T.Count)
            {
                T a = TPixels.Load<T>(ref *r0, x), b = TPixels.Load<T>(ref *r1, x), d = TPixels.Load<T>(ref *r2, x), e = TPixels.Load<T>(ref *r3, x);
                T g = TPixels.Load<T>(ref *r4, x), h = TPixels.Load<T>(ref *r5, x), i = TPixels.Load<T>(ref *r6, x), j = TPixels.Load<T>(ref *r7, x);
                T limit = T.Load(ref *threshold, x), high = limit + above, low = limit - below;
                T v0 = T.MulAdd(c, d, T.MulAdd(n, b + e, f * (a + g)));
                T v1 = T.MulAdd(c, e, T.MulAdd(n, d + g, f * (b + h)));
                T v2 = T.MulAdd(c, g, T.MulAdd(n, e + h, f * (d + i)));
                T v3 = T.MulAdd(c, h, T.MulAdd(n, g + i, f * (e + j)));
                T p0 = T.ShiftIn(b0, v0) + v0, p1 = T.ShiftIn(b1, v1) + v1, p2 = T.ShiftIn(b2, v2) + v2, p3 = T.ShiftIn(b3, v3) + v3;
                (b0, b1, b2, b3) = (v0, v1, v2, v3);
                T twice = low + low;
                T pairs = T.Max(T.Max(p0, p1), T.Max(p2, p3)), singles = T.Max(T.Max(v0, v1), T.Max(v2, v3));
                if ((T.Above(pairs, twice) | T.Above(singles, high)) != 0)
                {
                    columns[count] = (int)x;
                    masks[count++] = T.Above(p0, twice) | T.Above(v0, high) | ((T.Above(p1, twice) | T.Above(v1, high)) << T.Count)
                        | ((T.Above(p2, twice) | T.Above(v2, high)) << (2 * T.Count)) | ((T.Above(p3, twice) | T.Above(v3, high)) << (3 * T.Count));
                }

                if (TPixels.MayBeMissing)
                {
                    // 0 x NaN and 0 x infinity are NaN; rows 0 to 4 and 3 to 7 cover all eight.
                    missing = T.MulAdd(v0 + v3, zero, missing);
                }

                // In their order in memory: four rows side by side are more than the processor foresees.
                if (Sse.IsSupported && next != null)
                {
                    byte* line = next + (Rows * x * TPixels.Size);
                    Sse.Prefetch1(line);
                    if (Rows * T.Count * TPixels.Size > 64)
                    {
                        Sse.Prefetch1(line + 64);
                    }

                    if (Rows * T.Count * TPixels.Size > 128)
                    {
                        Sse.Prefetch1(line + 128);
                        Sse.Prefetch1(line + 192);
                    }
                }
            }
        }

        if (T.Sum(missing) != 0)
        {
            return -1;
        }

        ulong end = ScreenEnd<T, TPixels>(inputs, last, limits, out bool whole);
        screen.Columns[count] = last;
        screen.Bits[count] = end;
        return !whole ? -1 : end != 0 ? count + 1 : count;
    }

    /// <summary>The last register of a row. It may overlap the one before and ends where the last column repeats, so single columns
    /// are held against the low threshold: stricter than any pair.</summary>
    private ulong ScreenEnd<T, TPixels>(byte** inputs, int last, Limits limits, out bool whole)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        T low = T.Load(ref *limits.Threshold, last) - T.Of(limits.Below), missing = T.Of(0);
        ulong bits = 0;
        for (int row = 0; row < Rows; row++)
        {
            T v = Column<T, TPixels>(inputs + row, last);
            missing = T.MulAdd(v, T.Of(0), missing);
            bits |= T.Above(v, low) << (row * T.Count);
            if (last > 0 && Down<TPixels>(inputs + row, last - 1) > limits.Threshold[last - 1] - limits.Below)
            {
                bits |= 1UL << (row * T.Count);
            }
        }

        whole = T.Sum(missing) == 0;
        return bits;
    }

    /// <summary>Smooths along the rows round what passed.</summary>
    private void Decide<T, TPixels>(byte** inputs, int width, float* threshold, ReadOnlySpan<RowHits> hits, Screen screen, int count)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        Span<int> next = stackalloc int[Rows];
        ulong lanes = ulong.MaxValue >> (64 - T.Count);
        for (int k = 0; k < count; k++)
        {
            int x = screen.Columns[k];
            ulong all = screen.Bits[k];
            while (all != 0)
            {
                int row = BitOperations.TrailingZeroCount(all) / T.Count;
                ulong bits = (all >> (row * T.Count)) & lanes;
                all &= ~(lanes << (row * T.Count));
                int from = Math.Max(next[row], x + BitOperations.TrailingZeroCount(bits) - Reach);
                int to = Math.Min(width - 1, x + BitOperations.Log2(bits) + Reach);
                if (from <= to)
                {
                    Along<T, TPixels>(inputs + row, width, from, to, threshold, hits[row]);
                    next[row] = to + 1;
                }
            }
        }
    }

    /// <summary>Decides the pixels of a row between two columns, both included.</summary>
    private void Along<T, TPixels>(byte** rows, int width, int from, int to, float* threshold, RowHits hits)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        int x = from;
        while (x <= to)
        {
            if (x < Reach || x + T.Count + Reach > width)
            {
                float value = Smoothed<TPixels>(rows, width, x);
                if (value > threshold[x])
                {
                    hits.Add(x, value);
                }

                x++;
                continue;
            }

            T smooth = Smooth<T, TPixels>(rows, x);
            ulong above = T.Above(smooth, T.Load(ref *threshold, x));
            if (to - x + 1 < T.Count)
            {
                above &= (1UL << (to - x + 1)) - 1;
            }

            if (above != 0)
            {
                Add(hits, x, smooth, above);
            }

            x += T.Count;
        }
    }

    /// <summary>A register of smoothed pixels.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private T Smooth<T, TPixels>(byte** rows, int x)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        T a = Column<T, TPixels>(rows, x - 2), b = Column<T, TPixels>(rows, x - 1), d = Column<T, TPixels>(rows, x);
        T e = Column<T, TPixels>(rows, x + 1), g = Column<T, TPixels>(rows, x + 2);
        return T.MulAdd(T.Of(center), d, T.MulAdd(T.Of(near), b + e, T.Of(far) * (a + g)));
    }

    /// <summary>The taps down as many columns as the register holds.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private T Column<T, TPixels>(byte** rows, nint x)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        T ends = T.Of(far) * (TPixels.Load<T>(ref *rows[0], x) + TPixels.Load<T>(ref *rows[4], x));
        T sides = T.MulAdd(T.Of(near), TPixels.Load<T>(ref *rows[1], x) + TPixels.Load<T>(ref *rows[3], x), ends);
        return T.MulAdd(T.Of(center), TPixels.Load<T>(ref *rows[2], x), sides);
    }

    [SkipLocalsInit]
    private static void Add<T>(RowHits hits, int x, T smooth, ulong above)
        where T : struct, ILanes<T>
    {
        float* values = stackalloc float[T.Count];
        T.Store(smooth, ref *values, 0);
        for (; above != 0; above &= above - 1)
        {
            int lane = BitOperations.TrailingZeroCount(above);
            hits.Add(x + lane, values[lane]);
        }
    }
}
