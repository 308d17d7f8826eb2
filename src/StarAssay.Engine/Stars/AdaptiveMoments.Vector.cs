using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <content>The same, a register of columns at a time. dx does not change down a column: what holds it is worked out once a column.</content>
internal static partial class AdaptiveMoments
{
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    internal static WeightedSums SumsLanes<T>(Stamp stamp, in Window w)
        where T : struct, ILanes<T>
    {
        ref float pixels = ref MemoryMarshal.GetArrayDataReference(stamp.Pixels);
        nint stride = stamp.Stride;
        int rows = w.YTo - w.YFrom + 1;
        T s = T.Of(0), sx = s, sy = s, sxx = s, sxy = s, syy = s;
        T a = T.Of(w.A), b = T.Of(w.B), c = T.Of(w.C), one = T.Of(1), firstDy = T.Of(w.YFrom - w.Y);
        bool stepwise = w.Deepest > LeastExponent;
        for (int x = w.XFrom; x <= w.XTo; x += T.Count)
        {
            T dx = T.Ramp + T.Of(x - w.X);
            T square = a * dx * dx, slope = b * dx, d = firstDy;
            T column = T.Of(0), columnY = column, columnYY = column;
            nint at = (w.YFrom * stride) + x;
            if (stepwise)
            {
                // From row to row the weight changes by a factor, and that factor by a fixed one.
                T weight = LaneMath.Exp(T.MulAdd(T.MulAdd(c, d, slope), d, square));
                T factor = LaneMath.Exp(T.MulAdd(c, d + d + one, slope));
                T bend = LaneMath.Exp(c + c);
                for (int j = 0; j < rows; j++, at += stride)
                {
                    T v = T.Load(ref pixels, at) * weight, vy = v * d;
                    weight *= factor;
                    factor *= bend;
                    column += v;
                    columnY += vy;
                    columnYY = T.MulAdd(vy, d, columnYY);
                    d += one;
                }
            }
            else
            {
                for (int j = 0; j < rows; j++, at += stride)
                {
                    T v = T.Load(ref pixels, at) * LaneMath.Exp(T.MulAdd(T.MulAdd(c, d, slope), d, square)), vy = v * d;
                    column += v;
                    columnY += vy;
                    columnYY = T.MulAdd(vy, d, columnYY);
                    d += one;
                }
            }

            T columnX = column * dx;
            s += column;
            sx += columnX;
            sy += columnY;
            sxx = T.MulAdd(columnX, dx, sxx);
            sxy = T.MulAdd(columnY, dx, sxy);
            syy += columnYY;
        }

        return new WeightedSums(T.Sum(s), T.Sum(sx), T.Sum(sy), T.Sum(sxx), T.Sum(sxy), T.Sum(syy));
    }
}
