using System.Runtime.Intrinsics;

namespace StarAssay.Engine.Numerics;

/// <summary>
/// Products with a banded matrix whose rows are all the same, each moved on by a whole number of columns: weights round
/// every n-th row of a matrix, summed into one row.
/// </summary>
/// <param name="rows">Fine rows; row rows/2 is the middle of coarse row coarse/2.</param>
/// <param name="step">Fine rows from one coarse row to the next.</param>
/// <param name="coarse">Coarse rows.</param>
internal sealed unsafe class BandedRows(int rows, int step, int coarse)
{
    private readonly int first = (rows / 2) - (coarse / 2 * step);

    /// <summary>Fine rows to coarse rows. Rows outside the matrix count as zero.</summary>
    /// <param name="fine">First value of the fine rows.</param>
    /// <param name="fineStride">Floats from one to the next.</param>
    /// <param name="columns">Columns, a multiple of 16.</param>
    /// <param name="weights">An odd number of weights, the middle one for the coarse row's own middle.</param>
    /// <param name="target">Filled: the coarse rows.</param>
    /// <param name="targetStride">Floats from one to the next.</param>
    public void Collect(float* fine, int fineStride, int columns, float[] weights, float* target, int targetStride)
    {
        int half = weights.Length / 2;
        fixed (float* w = weights)
        {
            for (int y = 0; y < coarse; y++)
            {
                int middle = first + (y * step);
                int from = Math.Max(0, middle - half);
                int count = Math.Max(0, Math.Min(rows - 1, middle + half) + 1 - from);
                Sum(fine + (from * fineStride), fineStride, columns, w + from - middle + half, 1, count, target + (y * targetStride));
            }
        }
    }

    /// <summary>The transpose: coarse rows to fine rows.</summary>
    /// <param name="source">First value of the coarse rows.</param>
    /// <param name="sourceStride">Floats from one to the next.</param>
    /// <param name="columns">Columns, a multiple of 16.</param>
    /// <param name="weights">As in <see cref="Collect"/>.</param>
    /// <param name="fine">Filled: the fine rows.</param>
    /// <param name="fineStride">Floats from one to the next.</param>
    public void Spread(float* source, int sourceStride, int columns, float[] weights, float* fine, int fineStride)
    {
        int half = weights.Length / 2;
        fixed (float* w = weights)
        {
            for (int r = 0; r < rows; r++)
            {
                int from = Math.Max(0, RoundUp(r - first - half));
                int to = Math.Min(coarse - 1, RoundUp(r - first + half + 1) - 1);
                int count = Math.Max(0, to + 1 - from);
                Sum(source + (from * sourceStride), sourceStride, columns, w + (r - first - (from * step) + half), -step, count, fine + (r * fineStride));
            }
        }
    }

    private static void Sum(float* row, int stride, int columns, float* weight, int step, int count, float* target)
    {
        if (Vector512.IsHardwareAccelerated)
        {
            SumLanes<Lanes512>(row, stride, columns, weight, step, count, target);
        }
        else if (Vector256.IsHardwareAccelerated)
        {
            SumLanes<Lanes256>(row, stride, columns, weight, step, count, target);
        }
        else
        {
            SumLanes<Lanes128>(row, stride, columns, weight, step, count, target);
        }
    }

    // target = sum over k of weight[k step] x row k; four registers of columns at a time, so that a weight is fetched once for all.
    private static void SumLanes<T>(float* row, int stride, int columns, float* weight, int step, int count, float* target)
        where T : struct, ILanes<T>
    {
        int n = T.Count;
        int x = 0;
        for (; x <= columns - (4 * n); x += 4 * n)
        {
            T s0 = T.Of(0), s1 = s0, s2 = s0, s3 = s0;
            float* at = row + x;
            float* w = weight;
            for (int k = 0; k < count; k++)
            {
                T v = T.Of(*w);
                s0 = T.MulAdd(v, T.Load(ref *at, 0), s0);
                s1 = T.MulAdd(v, T.Load(ref *at, n), s1);
                s2 = T.MulAdd(v, T.Load(ref *at, 2 * n), s2);
                s3 = T.MulAdd(v, T.Load(ref *at, 3 * n), s3);
                at += stride;
                w += step;
            }

            T.Store(s0, ref *target, x);
            T.Store(s1, ref *target, x + n);
            T.Store(s2, ref *target, x + (2 * n));
            T.Store(s3, ref *target, x + (3 * n));
        }

        for (; x < columns; x += n)
        {
            T s = T.Of(0);
            for (int k = 0; k < count; k++)
            {
                s = T.MulAdd(T.Of(weight[k * step]), T.Load(ref *(row + x + (k * stride)), 0), s);
            }

            T.Store(s, ref *target, x);
        }
    }

    private int RoundUp(int fine) => (int)Math.Ceiling(fine / (double)step);
}
