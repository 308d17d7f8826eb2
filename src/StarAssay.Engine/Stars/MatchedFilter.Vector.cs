using System.Numerics;
using System.Runtime.CompilerServices;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <content>The same, a register at a time, in pieces that stay in the first-level cache.</content>
internal sealed unsafe partial class MatchedFilter
{
    private const int Piece = 1024;

    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    internal int RowLanes<T>(float** rows, int width, float* work, float* filtered, float* threshold, int* found)
        where T : struct, ILanes<T>
    {
        T c = T.Of(center), n = T.Of(near), f = T.Of(far);
        float* r0 = rows[0], r1 = rows[1], r2 = rows[2], r3 = rows[3], r4 = rows[4];
        int count = 0, down = 0;
        for (int start = 0; start < width; start += Piece)
        {
            // Columns first: one register beyond the piece, since the row taps look two pixels ahead.
            int end = Math.Min(start + Piece, width);
            int ahead = Math.Min(end + Slack, width);
            for (; down <= ahead - T.Count; down += T.Count)
            {
                T v = f * (T.Load(ref *r0, down) + T.Load(ref *r4, down));
                v = T.MulAdd(n, T.Load(ref *r1, down) + T.Load(ref *r3, down), v);
                T.Store(T.MulAdd(c, T.Load(ref *r2, down), v), ref *work, down);
            }

            if (ahead == width)
            {
                for (; down < width; down++)
                {
                    work[down] = Down(rows, down);
                }

                RepeatEnds(work, width);
            }

            if (start == 0)
            {
                work[-1] = work[-2] = work[0];
            }

            // Then along the row. The last register runs into the slack, where the threshold is infinite.
            for (int x = start; x < end; x += T.Count)
            {
                T v = f * (T.Load(ref *work, x - 2) + T.Load(ref *work, x + 2));
                v = T.MulAdd(n, T.Load(ref *work, x - 1) + T.Load(ref *work, x + 1), v);
                v = T.MulAdd(c, T.Load(ref *work, x), v);
                T.Store(v, ref *filtered, x);
                ulong above = T.Above(v, T.Load(ref *threshold, x));
                while (above != 0)
                {
                    found[count++] = x + BitOperations.TrailingZeroCount(above);
                    above &= above - 1;
                }
            }
        }

        return count;
    }

    /// <summary>True when the row holds NaN or infinity: 0 x value is then not 0.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    internal static bool HasMissing<T>(float* row, int width)
        where T : struct, ILanes<T>
    {
        T zero = T.Of(0), a = zero, b = zero;
        int x = 0;
        for (; x <= width - (2 * T.Count); x += 2 * T.Count)
        {
            a = T.MulAdd(T.Load(ref *row, x), zero, a);
            b = T.MulAdd(T.Load(ref *row, x + T.Count), zero, b);
        }

        float rest = T.Sum(a + b);
        for (; x < width; x++)
        {
            rest += row[x] * 0;
        }

        return rest != 0;
    }
}
