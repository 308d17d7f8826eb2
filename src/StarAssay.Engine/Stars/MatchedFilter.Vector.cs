using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics.X86;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <content>The same: first the column taps and the screen everywhere, then the row taps beside what passed.</content>
internal sealed unsafe partial class MatchedFilter
{
    // Bytes that the processor fetches at once, and how far ahead of the registers they are asked for.
    private const int Line = 64;
    private const int Ahead = 1024;

    // Columns that are screened before what passed is looked at: few enough that twelve rows of them are still near.
    private const int Chunk = 512;

    [SkipLocalsInit]
    internal bool FindLanes<T, TPixels>(byte** inputs, int width, Limits limits, ReadOnlySpan<RowHits> hits, Screen screen, nint pitch)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        // What the screen hands on from one chunk to the next: smoothed columns of each row, and zero unless a pixel is missing.
        float* carried = stackalloc float[(Rows + 1) * T.Count];
        for (int row = 0; row < Rows; row++)
        {
            // The column to the left of the first is the first again.
            T.Store(T.Of(Scale<TPixels>() * (Down<TPixels>(inputs + row, 0) - TPixels.RawZero)), ref *carried, row * T.Count);
        }

        T.Store(T.Of(0), ref *carried, Rows * T.Count);
        Span<int> next = stackalloc int[Rows];
        next.Clear();
        int last = width - T.Count;
        for (int x = 0; x < last; x += Chunk)
        {
            var chunk = new Columns(x, Math.Min(last, x + Chunk), width);
            if (T.Count == Lanes512.Count)
            {
                int count = ScreenColumns<T, TPixels>(inputs, chunk, limits, screen, pitch, carried);
                Decide<T, TPixels>(inputs, width, limits.Threshold, hits, screen, new Passed(count, 0, Rows), next);
                continue;
            }

            // Processors with narrower registers have half as many, too few for all rows at once.
            for (int first = 0; first < Rows; first += HalfRows)
            {
                int count = ScreenHalf<T, TPixels>(inputs + first, chunk, limits, screen, first == 0 ? pitch : 0, carried + (first * T.Count),
                    carried + (Rows * T.Count));
                Decide<T, TPixels>(inputs, width, limits.Threshold, hits, screen, new Passed(count, first, HalfRows), next);
            }
        }

        if (T.Sum(T.Load(ref *carried, Rows * T.Count)) != 0)
        {
            return false;
        }

        screen.Columns[0] = last;
        bool some = ScreenEnd<T, TPixels>(inputs, last, limits, screen.Bits.AsSpan(0, 2), out bool whole);
        Decide<T, TPixels>(inputs, width, limits.Threshold, hits, screen, new Passed(some ? 1 : 0, 0, Rows), next);
        return whole;
    }

    /// <summary>Notes what passes the screen.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private int ScreenColumns<T, TPixels>(byte** inputs, Columns chunk, Limits limits, Screen screen, nint pitch, float* carried)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        // Everything in raw values over the near tap, which saves its product.
        float scale = Scale<TPixels>();
        T c = T.Of(center / near), f = T.Of(far / near), zero = T.Of(0), missing = T.Load(ref *carried, Rows * T.Count);
        T one = T.Of(scale), two = T.Of(2 * scale), below = T.Of(-2 * scale * (TPixels.RawZero + limits.Below)),
            above = T.Of(scale * ((limits.Below * AbovePerBelow) - TPixels.RawZero));
        float* threshold = limits.Threshold;
        byte* r0 = inputs[0], r1 = inputs[1], r2 = inputs[2], r3 = inputs[3], r4 = inputs[4], r5 = inputs[5];
        byte* r6 = inputs[6], r7 = inputs[7], r8 = inputs[8], r9 = inputs[9], r10 = inputs[10], r11 = inputs[11];
        int count = 0, last = chunk.End;

        // Beyond the end of the rows the next step begins, eight rows on.
        nint end = (nint)chunk.Width * TPixels.Size, beyond = (Rows * pitch) - end;
        T b0 = T.Load(ref *carried, 0), b1 = T.Load(ref *carried, T.Count), b2 = T.Load(ref *carried, 2 * T.Count), b3 = T.Load(ref *carried, 3 * T.Count);
        T b4 = T.Load(ref *carried, 4 * T.Count), b5 = T.Load(ref *carried, 5 * T.Count), b6 = T.Load(ref *carried, 6 * T.Count),
            b7 = T.Load(ref *carried, 7 * T.Count);
        fixed (int* columns = screen.Columns)
        fixed (ulong* masks = screen.Bits)
        {
            for (nint x = chunk.First; x < last; x += T.Count)
            {
                T limit = T.Load(ref *threshold, x), low = T.MulAdd(two, limit, below), high = T.MulAdd(one, limit, above);
                T i0 = TPixels.LoadRaw<T>(ref *r0, x), i1 = TPixels.LoadRaw<T>(ref *r1, x), i2 = TPixels.LoadRaw<T>(ref *r2, x),
                    i3 = TPixels.LoadRaw<T>(ref *r3, x);
                T i4 = TPixels.LoadRaw<T>(ref *r4, x), i5 = TPixels.LoadRaw<T>(ref *r5, x), i6 = TPixels.LoadRaw<T>(ref *r6, x),
                    i7 = TPixels.LoadRaw<T>(ref *r7, x);
                T v0 = T.MulAdd(c, i2, T.MulAdd(f, i0 + i4, i1 + i3));
                T v1 = T.MulAdd(c, i3, T.MulAdd(f, i1 + i5, i2 + i4));
                T v2 = T.MulAdd(c, i4, T.MulAdd(f, i2 + i6, i3 + i5));
                T v3 = T.MulAdd(c, i5, T.MulAdd(f, i3 + i7, i4 + i6));
                T i8 = TPixels.LoadRaw<T>(ref *r8, x), i9 = TPixels.LoadRaw<T>(ref *r9, x), i10 = TPixels.LoadRaw<T>(ref *r10, x),
                    i11 = TPixels.LoadRaw<T>(ref *r11, x);
                T p0 = T.ShiftIn(b0, v0) + v0, p1 = T.ShiftIn(b1, v1) + v1, p2 = T.ShiftIn(b2, v2) + v2, p3 = T.ShiftIn(b3, v3) + v3;
                T v4 = T.MulAdd(c, i6, T.MulAdd(f, i4 + i8, i5 + i7));
                T v5 = T.MulAdd(c, i7, T.MulAdd(f, i5 + i9, i6 + i8));
                T v6 = T.MulAdd(c, i8, T.MulAdd(f, i6 + i10, i7 + i9));
                T v7 = T.MulAdd(c, i9, T.MulAdd(f, i7 + i11, i8 + i10));
                T p4 = T.ShiftIn(b4, v4) + v4, p5 = T.ShiftIn(b5, v5) + v5, p6 = T.ShiftIn(b6, v6) + v6, p7 = T.ShiftIn(b7, v7) + v7;
                (b0, b1, b2, b3) = (v0, v1, v2, v3);
                (b4, b5, b6, b7) = (v4, v5, v6, v7);
                T pairs = T.Max(T.Max(T.Max(p0, p1), T.Max(p2, p3)), T.Max(T.Max(p4, p5), T.Max(p6, p7)));
                T singles = T.Max(T.Max(T.Max(v0, v1), T.Max(v2, v3)), T.Max(T.Max(v4, v5), T.Max(v6, v7)));
                if ((T.Above(pairs, low) | T.Above(singles, high)) != 0)
                {
                    columns[count] = (int)x;
                    masks[2 * count] = T.Above(p0, low) | T.Above(v0, high) | ((T.Above(p1, low) | T.Above(v1, high)) << T.Count)
                        | ((T.Above(p2, low) | T.Above(v2, high)) << (2 * T.Count)) | ((T.Above(p3, low) | T.Above(v3, high)) << (3 * T.Count));
                    masks[(2 * count) + 1] = T.Above(p4, low) | T.Above(v4, high) | ((T.Above(p5, low) | T.Above(v5, high)) << T.Count)
                        | ((T.Above(p6, low) | T.Above(v6, high)) << (2 * T.Count)) | ((T.Above(p7, low) | T.Above(v7, high)) << (3 * T.Count));
                    count++;
                }

                if (TPixels.MayBeMissing)
                {
                    // 0 x NaN and 0 x infinity are NaN; rows 0 to 4, 3 to 7 and 7 to 11 cover all twelve.
                    missing = T.MulAdd(v0 + v3 + v7, zero, missing);
                }

                if (Sse.IsSupported && pitch != 0)
                {
                    nint ahead = (x * TPixels.Size) + Ahead;
                    Fetch<T, TPixels>(r4 + ahead + (ahead < end ? 0 : beyond), pitch, x);
                }
            }
        }

        T.Store(b0, ref *carried, 0);
        T.Store(b1, ref *carried, T.Count);
        T.Store(b2, ref *carried, 2 * T.Count);
        T.Store(b3, ref *carried, 3 * T.Count);
        T.Store(b4, ref *carried, 4 * T.Count);
        T.Store(b5, ref *carried, 5 * T.Count);
        T.Store(b6, ref *carried, 6 * T.Count);
        T.Store(b7, ref *carried, 7 * T.Count);
        T.Store(missing, ref *carried, Rows * T.Count);
        return count;
    }

    /// <summary>The same for four rows, of eight inputs.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private int ScreenHalf<T, TPixels>(byte** inputs, Columns chunk, Limits limits, Screen screen, nint pitch, float* carried, float* carriedMissing)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        float scale = Scale<TPixels>();
        T c = T.Of(center / near), f = T.Of(far / near), missing = T.Load(ref *carriedMissing, 0);
        T one = T.Of(scale), below = T.Of(-2 * scale * (TPixels.RawZero + limits.Below)),
            above = T.Of(scale * ((limits.Below * AbovePerBelow) - TPixels.RawZero));
        float* threshold = limits.Threshold;
        byte* r0 = inputs[0], r1 = inputs[1], r2 = inputs[2], r3 = inputs[3], r4 = inputs[4], r5 = inputs[5], r6 = inputs[6], r7 = inputs[7];
        int count = 0, last = chunk.End;
        nint end = (nint)chunk.Width * TPixels.Size, beyond = (Rows * pitch) - end;
        T b0 = T.Load(ref *carried, 0), b1 = T.Load(ref *carried, T.Count), b2 = T.Load(ref *carried, 2 * T.Count), b3 = T.Load(ref *carried, 3 * T.Count);
        fixed (int* columns = screen.Columns)
        fixed (ulong* masks = screen.Bits)
        {
            for (nint x = chunk.First; x < last; x += T.Count)
            {
                T i0 = TPixels.LoadRaw<T>(ref *r0, x), i1 = TPixels.LoadRaw<T>(ref *r1, x), i2 = TPixels.LoadRaw<T>(ref *r2, x),
                    i3 = TPixels.LoadRaw<T>(ref *r3, x);
                T i4 = TPixels.LoadRaw<T>(ref *r4, x), i5 = TPixels.LoadRaw<T>(ref *r5, x), i6 = TPixels.LoadRaw<T>(ref *r6, x),
                    i7 = TPixels.LoadRaw<T>(ref *r7, x);
                T v0 = T.MulAdd(c, i2, T.MulAdd(f, i0 + i4, i1 + i3));
                T v1 = T.MulAdd(c, i3, T.MulAdd(f, i1 + i5, i2 + i4));
                T v2 = T.MulAdd(c, i4, T.MulAdd(f, i2 + i6, i3 + i5));
                T v3 = T.MulAdd(c, i5, T.MulAdd(f, i3 + i7, i4 + i6));
                T p0 = T.ShiftIn(b0, v0) + v0, p1 = T.ShiftIn(b1, v1) + v1, p2 = T.ShiftIn(b2, v2) + v2, p3 = T.ShiftIn(b3, v3) + v3;
                (b0, b1, b2, b3) = (v0, v1, v2, v3);
                T pairs = T.Max(T.Max(p0, p1), T.Max(p2, p3)), singles = T.Max(T.Max(v0, v1), T.Max(v2, v3));
                T limit = T.Load(ref *threshold, x), low = T.MulAdd(one + one, limit, below), high = T.MulAdd(one, limit, above);
                if ((T.Above(pairs, low) | T.Above(singles, high)) != 0)
                {
                    columns[count] = (int)x;
                    masks[count++] = T.Above(p0, low) | T.Above(v0, high) | ((T.Above(p1, low) | T.Above(v1, high)) << T.Count)
                        | ((T.Above(p2, low) | T.Above(v2, high)) << (2 * T.Count)) | ((T.Above(p3, low) | T.Above(v3, high)) << (3 * T.Count));
                }

                if (TPixels.MayBeMissing)
                {
                    missing = T.MulAdd(v0 + v3, T.Of(0), missing);
                }

                if (Sse.IsSupported && pitch != 0)
                {
                    nint ahead = (x * TPixels.Size) + Ahead;
                    Fetch<T, TPixels>(r4 + ahead + (ahead < end ? 0 : beyond), pitch, x);
                }
            }
        }

        T.Store(b0, ref *carried, 0);
        T.Store(b1, ref *carried, T.Count);
        T.Store(b2, ref *carried, 2 * T.Count);
        T.Store(b3, ref *carried, 3 * T.Count);
        T.Store(missing, ref *carriedMissing, 0);
        return count;
    }

    private float Scale<TPixels>()
        where TPixels : struct, IStoredPixels => TPixels.RawPerAdu / near;

    /// <summary>Asks for a line of each of the eight rows that this step reads first; of some of them when a line holds several
    /// registers. They are more rows than the processor foresees by itself.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static void Fetch<T, TPixels>(byte* line, nint pitch, nint x)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        int bytes = T.Count * TPixels.Size;
        if (bytes < Line)
        {
            line += x / T.Count % (Line / bytes) * (Rows * bytes / Line) * pitch;
        }

        Sse.Prefetch0(line);
        if (Rows * bytes > Line)
        {
            Sse.Prefetch0(line + pitch);
        }

        if (Rows * bytes > 2 * Line)
        {
            Sse.Prefetch0(line + (2 * pitch));
            Sse.Prefetch0(line + (3 * pitch));
        }

        if (Rows * bytes > 4 * Line)
        {
            line += 4 * pitch;
            Sse.Prefetch0(line);
            Sse.Prefetch0(line + pitch);
            Sse.Prefetch0(line + (2 * pitch));
            Sse.Prefetch0(line + (3 * pitch));
        }
    }

    /// <summary>The last register of a row. It may overlap the one before and ends where the last column repeats, so single columns
    /// are held against the low threshold: stricter than any pair.</summary>
    private bool ScreenEnd<T, TPixels>(byte** inputs, int last, Limits limits, Span<ulong> bits, out bool whole)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        T low = T.Load(ref *limits.Threshold, last) - T.Of(limits.Below), missing = T.Of(0);
        bits.Clear();
        for (int row = 0; row < Rows; row++)
        {
            T v = Column<T, TPixels>(inputs + row, last);
            missing = T.MulAdd(v, T.Of(0), missing);
            ulong passed = T.Above(v, low);
            if (last > 0 && Down<TPixels>(inputs + row, last - 1) > limits.Threshold[last - 1] - limits.Below)
            {
                passed |= 1;
            }

            bits[row / HalfRows] |= passed << (row % HalfRows * T.Count);
        }

        whole = T.Sum(missing) == 0;
        return (bits[0] | bits[1]) != 0;
    }

    /// <summary>Smooths along the rows round what passed.</summary>
    private void Decide<T, TPixels>(byte** inputs, int width, float* threshold, ReadOnlySpan<RowHits> hits, Screen screen, Passed passed, Span<int> next)
        where T : struct, ILanes<T>
        where TPixels : struct, IStoredPixels
    {
        ulong lanes = ulong.MaxValue >> (64 - T.Count);
        int words = passed.Rows / HalfRows;
        for (int k = 0; k < words * passed.Count; k++)
        {
            int x = screen.Columns[k / words], first = passed.First + (k % words * HalfRows);
            ulong all = screen.Bits[k];
            while (all != 0)
            {
                int shift = BitOperations.TrailingZeroCount(all) / T.Count * T.Count, row = first + (shift / T.Count);
                ulong bits = (all >> shift) & lanes;
                all &= ~(lanes << shift);
                int from = Math.Max(next[row], x + BitOperations.TrailingZeroCount(bits) - Reach);
                int to = Math.Min(width - 1, x + BitOperations.Log2(bits) + Reach);
                if (from <= to)
                {
                    next[row] = Along<T, TPixels>(inputs + row, width, from, to, threshold, hits[row]);
                }
            }
        }
    }

    /// <summary>Decides the pixels of a row between two columns, both included, and what else the last register holds.</summary>
    /// <returns>The first column that is not decided.</returns>
    private int Along<T, TPixels>(byte** rows, int width, int from, int to, float* threshold, RowHits hits)
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

            T smooth = Smooth<T, TPixels>(rows, x), limit = T.Load(ref *threshold, x);
            ulong above = T.Above(smooth, limit);
            if (above != 0)
            {
                hits.Add(x, smooth, limit, above);
            }

            x += T.Count;
        }

        return x;
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

    /// <summary>How many registers passed the screen, and of which rows: four or all.</summary>
    private readonly record struct Passed(int Count, int First, int Rows);

    /// <summary>Columns to screen: whole registers from the first on, the end left out.</summary>
    private readonly record struct Columns(int First, int End, int Width);
}
