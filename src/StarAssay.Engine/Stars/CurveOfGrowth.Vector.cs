using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <content>
/// The same for large circles: pixels that the circle's axes cross one by one, the other pixels of the rim collected and worked out a register at
/// a time in single precision (areas to 1e-6).
/// </content>
internal static partial class CurveOfGrowth
{
    [SkipLocalsInit]
    internal static unsafe double InsideLanes<T>(Stamp stamp, double cx, double cy, double radius)
        where T : struct, ILanes<T>
    {
        float* dxs = stackalloc float[Piece + Stamp.Step], dys = stackalloc float[Piece + Stamp.Step], values = stackalloc float[Piece + Stamp.Step];
        int side = stamp.Side;
        int yFrom = Math.Max(0, (int)Math.Ceiling(cy - radius - 0.5)), yTo = Math.Min(side - 1, (int)Math.Floor(cy + radius + 0.5));
        double sum = 0, r2 = radius * radius;
        int n = 0;
        ref float pixels = ref MemoryMarshal.GetArrayDataReference(stamp.Pixels);
        for (int y = yFrom; y <= yTo; y++)
        {
            (int from, int to, int fullFrom, int fullTo) = Span(side, cx, cy, r2, y);
            ref float row = ref Unsafe.Add(ref pixels, y * stamp.Stride);
            double dy = Math.Abs(y - cy);
            for (int x = from; x <= to; x++)
            {
                if (x == fullFrom)
                {
                    float whole = 0;
                    for (; x <= fullTo; x++)
                    {
                        whole += Unsafe.Add(ref row, x);
                    }

                    sum += whole;
                    x--;
                    continue;
                }

                double dx = Math.Abs(x - cx);
                float value = Unsafe.Add(ref row, x);
                if (dx < 0.5 || dy < 0.5)
                {
                    sum += value * Overlap(dx, dy, radius);
                    continue;
                }

                dxs[n] = (float)dx;
                dys[n] = (float)dy;
                values[n] = value;
                if (++n == Piece)
                {
                    sum += Rim<T>(dxs, dys, values, n, (float)radius);
                    n = 0;
                }
            }
        }

        return sum + Rim<T>(dxs, dys, values, n, (float)radius);
    }

    /// <summary>Corner of the scalar part for many pixels: the same lines, with minimum and maximum for its branches.</summary>
    private static unsafe float Rim<T>(float* dxs, float* dys, float* values, int n, float r)
        where T : struct, ILanes<T>
    {
        T sum = T.Of(0), zero = T.Of(0), half = T.Of(0.5f), r2 = T.Of(r * r), inverse = T.Of(0.25f / (r * r));
        for (int i = 0; i < n; i += T.Count)
        {
            T x0 = T.Load(ref *dxs, i) - half, y0 = T.Load(ref *dys, i) - half;
            T x1 = x0 + T.Of(1), y1 = y0 + T.Of(1);
            T xa = T.Min(x1, T.Max(x0, T.Sqrt(T.Max(zero, r2 - (y1 * y1)))));
            T xb = T.Min(x1, T.Max(x0, T.Sqrt(T.Max(zero, r2 - (y0 * y0)))));

            // A pixel wholly outside gives xa = xb = x0 and, with heights not below y0, no area.
            T ya = T.Max(y0, T.Min(y1, T.Sqrt(T.Max(zero, r2 - (xa * xa)))));
            T yb = T.Max(y0, T.Min(y1, T.Sqrt(T.Max(zero, r2 - (xb * xb)))));
            T width = xb - xa, rise = ya - yb;
            T q = ((width * width) + (rise * rise)) * inverse;
            T series = T.MulAdd(q, T.Of(35f / 704), T.Of(5f / 72));
            series = T.MulAdd(series, q, T.Of(3f / 28));
            series = T.MulAdd(series, q, T.Of(1f / 5));
            series = T.MulAdd(series, q, T.Of(2f / 3));
            T area = (xa - x0) + (width * ((half * (ya + yb)) - y0)) + (r2 * q * T.Sqrt(q) * series);
            T value = T.Load(ref *values, i) * area;
            sum += i + T.Count <= n ? value : T.KeepFirst(value, n - i);
        }

        return T.Sum(sum);
    }
}
