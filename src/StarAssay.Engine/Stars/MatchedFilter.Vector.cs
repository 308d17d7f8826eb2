using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics.X86;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <content>The same: first the column taps everywhere, then the row taps beside what passed.</content>
internal sealed unsafe partial class MatchedFilter
{
    internal bool FindLanes<T, TPixels>(byte** inputs, int width, float* threshold, ReadOnlySpan<RowHits> hits, Screen screen, nint ahead)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        int count = ScreenColumns<T, TPixels>(inputs, width, threshold, screen, ahead);
        if (count < 0)
        {
            return false;
        }

        Decide<T, TPixels>(inputs, width, threshold, hits, screen, count);
        return true;
    }

    /// <summary>Notes where the column taps alone pass the threshold; -1 when a pixel is missing.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private int ScreenColumns<T, TPixels>(byte** inputs, int width, float* threshold, Screen screen, nint ahead)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        T c = T.Of(center), n = T.Of(near), f = T.Of(far), zero = T.Of(0), missing = zero;
        byte* r0 = inputs[0], r1 = inputs[1], r2 = inputs[2], r3 = inputs[3], r4 = inputs[4], r5 = inputs[5], r6 = inputs[6], r7 = inputs[7];
        int count = 0;
        int last = width - T.Count;
        fixed (int* columns = screen.Columns)
        fixed (ulong* masks = screen.Bits)
        {
            // The last register overlaps the one before, so that nothing beyond the row is read.
            for (nint x = 0; ; x = Math.Min(x + T.Count, last))
            {
                T a = TPixels.Load<T>(ref *r0, x), b = TPixels.Load<T>(ref *r1, x), d = TPixels.Load<T>(ref *r2, x), e = TPixels.Load<T>(ref *r3, x);
                T g = TPixels.Load<T>(ref *r4, x), h = TPixels.Load<T>(ref *r5, x), i = TPixels.Load<T>(ref *r6, x), j = TPixels.Load<T>(ref *r7, x);
                T limit = T.Load(ref *threshold, x);
                T v0 = T.MulAdd(c, d, T.MulAdd(n, b + e, f * (a + g)));
                T v1 = T.MulAdd(c, e, T.MulAdd(n, d + g, f * (b + h)));
                T v2 = T.MulAdd(c, g, T.MulAdd(n, e + h, f * (d + i)));
                T v3 = T.MulAdd(c, h, T.MulAdd(n, g + i, f * (e + j)));
                ulong bits = T.Above(v0, limit) | (T.Above(v1, limit) << T.Count) | (T.Above(v2, limit) << (2 * T.Count)) | (T.Above(v3, limit) << (3 * T.Count));

                // Stored always, kept on demand: no branch to guess wrong.
                columns[count] = (int)x;
                masks[count] = bits;
                count += bits != 0 ? 1 : 0;
                if (TPixels.MayBeMissing)
                {
                    // 0 x NaN and 0 x infinity are NaN; rows 0 to 4 and 3 to 7 cover all eight.
                    missing = T.MulAdd(v0 + v3, zero, missing);
                }

                // The rows of the next step: that many short streams are too many for the processor to foresee.
                if (Sse.IsSupported && ahead != 0 && ((x * TPixels.Size) & 63) < T.Count * TPixels.Size)
                {
                    nint at = (x * TPixels.Size) + ahead;
                    Sse.Prefetch1(r4 + at);
                    Sse.Prefetch1(r5 + at);
                    Sse.Prefetch1(r6 + at);
                    Sse.Prefetch1(r7 + at);
                }

                if (x == last)
                {
                    break;
                }
            }
        }

        return T.Sum(missing) == 0 ? count : -1;
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
