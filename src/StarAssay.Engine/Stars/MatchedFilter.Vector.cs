using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics.X86;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <content>The same, a register at a time, in pieces that stay in the first-level cache.</content>
internal sealed unsafe partial class MatchedFilter
{
    private const int Piece = 512;

    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    internal bool SmoothLanes<T>(float** inputs, int width, float** work, float** outputs, float* threshold, int** found, int* counts, nint ahead = 0)
        where T : struct, ILanes<T>
    {
        T c = T.Of(center), n = T.Of(near), f = T.Of(far), zero = T.Of(0), missing = zero;
        float* r0 = inputs[0], r1 = inputs[1], r2 = inputs[2], r3 = inputs[3], r4 = inputs[4], r5 = inputs[5], r6 = inputs[6], r7 = inputs[7];
        float* w0 = work[0], w1 = work[1], w2 = work[2], w3 = work[3];
        for (int row = 0; row < Rows; row++)
        {
            counts[row] = 0;
        }

        nint down = 0;
        for (int start = 0; start < width; start += Piece)
        {
            // Columns first: one register beyond the piece, since the row taps look two pixels ahead.
            int end = Math.Min(start + Piece, width), beyond = Math.Min(end + Slack, width);
            for (; down <= beyond - T.Count; down += T.Count)
            {
                T a = T.Load(ref *r0, down), b = T.Load(ref *r1, down), d = T.Load(ref *r2, down), e = T.Load(ref *r3, down);
                T g = T.Load(ref *r4, down), h = T.Load(ref *r5, down), i = T.Load(ref *r6, down), j = T.Load(ref *r7, down);
                T v0 = T.MulAdd(c, d, T.MulAdd(n, b + e, f * (a + g)));
                T v1 = T.MulAdd(c, e, T.MulAdd(n, d + g, f * (b + h)));
                T v2 = T.MulAdd(c, g, T.MulAdd(n, e + h, f * (d + i)));
                T v3 = T.MulAdd(c, h, T.MulAdd(n, g + i, f * (e + j)));
                T.Store(v0, ref *w0, down);
                T.Store(v1, ref *w1, down);
                T.Store(v2, ref *w2, down);
                T.Store(v3, ref *w3, down);

                // The rows of the next step: eight short streams are too many for the processor to foresee.
                if (Sse.IsSupported && ahead != 0 && (down & 15) == 0)
                {
                    Sse.Prefetch1((byte*)(r4 + down) + ahead);
                    Sse.Prefetch1((byte*)(r5 + down) + ahead);
                    Sse.Prefetch1((byte*)(r6 + down) + ahead);
                    Sse.Prefetch1((byte*)(r7 + down) + ahead);
                }

                // 0 x NaN and 0 x infinity are NaN; rows 0 to 4 and 3 to 7 cover all eight.
                missing = T.MulAdd(v0 + v3, zero, missing);
            }

            if (beyond == width)
            {
                for (; down < width; down++)
                {
                    for (int row = 0; row < Rows; row++)
                    {
                        work[row][down] = Down(inputs + row, down);
                        missing += T.Of(work[row][down] * 0);
                    }
                }
            }

            for (int row = 0; row < Rows; row++)
            {
                Along<T>(work[row], width, start, end, outputs[row], threshold, found[row], ref counts[row]);
            }
        }

        return T.Sum(missing) == 0;
    }

    /// <summary>The taps along a row. The last register runs into the slack, where the threshold is infinite.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private void Along<T>(float* work, int width, int start, int end, float* output, float* threshold, int* found, ref int count)
        where T : struct, ILanes<T>
    {
        if (start == 0)
        {
            work[-1] = work[-2] = work[0];
        }

        if (end == width)
        {
            work[width] = work[width + 1] = work[width - 1];
        }

        T c = T.Of(center), n = T.Of(near), f = T.Of(far);
        for (nint x = start; x < end; x += T.Count)
        {
            T v = f * (T.Load(ref *work, x - 2) + T.Load(ref *work, x + 2));
            v = T.MulAdd(n, T.Load(ref *work, x - 1) + T.Load(ref *work, x + 1), v);
            v = T.MulAdd(c, T.Load(ref *work, x), v);
            T.Store(v, ref *output, x);
            ulong above = T.Above(v, T.Load(ref *threshold, x));
            while (above != 0)
            {
                found[count++] = (int)x + BitOperations.TrailingZeroCount(above);
                above &= above - 1;
            }
        }
    }
}
