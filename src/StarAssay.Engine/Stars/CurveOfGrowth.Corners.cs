using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <content>
/// The same for small circles, where most pixels lie on the rim: no pixel is a special case.
/// </content>
/// <remarks>
/// Let Q(x, y) be the area that the circle shares with the rectangle from its center to the corner (x, y), odd in x and in y. A
/// pixel's share is the difference of Q at its four corners. Inside the circle Q = x y; outside, with
/// A(t) = t sqrt(r^2 - t^2) + r^2 asin(t/r), t held to r,
/// Q = (A(x) + A(y))/2 - pi r^2/4. So the arc's own part is worked out once for each column and once for each row of corners.
/// </remarks>
internal static partial class CurveOfGrowth
{
    // Corners along a column: 2 r + 3, and whole registers.
    private const int MostCorners = (2 * (int)CornersRadius) + 16;

    [SkipLocalsInit]
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    internal static unsafe double InsideCorners<T>(Stamp stamp, double cx, double cy, double radius)
        where T : struct, ILanes<T>
    {
        float* places = stackalloc float[MostCorners], arcs = stackalloc float[MostCorners], limits = stackalloc float[MostCorners],
            signs = stackalloc float[MostCorners];
        int side = stamp.Side;
        int xFrom = Math.Max(0, (int)Math.Ceiling(cx - radius - 0.5)), xTo = Math.Min(side - 1, (int)Math.Floor(cx + radius + 0.5));
        int yFrom = Math.Max(0, (int)Math.Ceiling(cy - radius - 0.5)), yTo = Math.Min(side - 1, (int)Math.Floor(cy + radius + 0.5));
        float r = (float)radius, r2 = r * r;
        T one = T.Of(1), minusOne = T.Of(-1), zero = T.Of(0), half = T.Of(0.5f), square = T.Of(r2), quarter = T.Of(r2 * (float)(Math.PI / 4)), ramp = T.Ramp;
        int corners = yTo - yFrom + 2;
        for (int k = 0; k < corners; k += T.Count)
        {
            T y = T.Of((float)(yFrom + k - 0.5 - cy)) + ramp;
            T sign = T.IfAtMost(y, zero, minusOne, one);
            T.Store(y, ref *places, k);
            T.Store(sign, ref *signs, k);
            T.Store(sign * ((half * Arc(y * sign, r)) - quarter), ref *arcs, k);
            T.Store(square - (y * y), ref *limits, k);
        }

        ref float pixels = ref MemoryMarshal.GetArrayDataReference(stamp.Pixels);
        nint stride = stamp.Stride;
        T sum = zero;

        // A register holds the corners left of its pixels; the last lane's right corner is the next register's first.
        for (int x = xFrom; x <= xTo; x += T.Count - 1)
        {
            T corner = T.Of((float)(x - 0.5 - cx)) + ramp, cornerSquare = corner * corner;
            T cornerSign = T.IfAtMost(corner, zero, minusOne, one), cornerArc = half * cornerSign * Arc(corner * cornerSign, r);
            T below = zero;
            nint at = ((yFrom - 1) * stride) + x;
            for (int k = 0; k < corners; k++, at += stride)
            {
                T outside = T.MulAdd(cornerSign, T.Of(arcs[k]), T.Of(signs[k]) * cornerArc);
                T above = T.IfAtMost(cornerSquare, T.Of(limits[k]), corner * T.Of(places[k]), outside);
                if (k > 0)
                {
                    T row = above - below;
                    sum = T.MulAdd(T.NextLane(row) - row, T.Load(ref pixels, at), sum);
                }

                below = above;
            }
        }

        return T.Sum(T.KeepFirst(sum, T.Count - 1));
    }

    /// <summary>A(t) for t from 0 on.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static T Arc<T>(T t, float r)
        where T : struct, ILanes<T>
    {
        T radius = T.Of(r), a = T.Min(t, radius);
        T rest = radius - a, scale = T.Of(1 / r);
        return T.MulAdd(a, T.Sqrt(rest * (radius + a)), T.Of(r * r) * LaneMath.Asin(a * scale, rest * scale));
    }
}
