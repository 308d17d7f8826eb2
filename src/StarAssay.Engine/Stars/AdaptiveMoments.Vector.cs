using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <content>The same, a register of columns at a time.</content>
internal static partial class AdaptiveMoments
{
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    internal static WeightedSums SumsLanes<T>(Stamp stamp, Window w)
        where T : struct, ILanes<T>
    {
        ref float pixels = ref MemoryMarshal.GetArrayDataReference(stamp.Pixels);
        T s = T.Of(0), sx = s, sy = s, sxx = s, sxy = s, syy = s;
        T a = T.Of(w.A);
        bool stepwise = w.Deepest > LeastExponent;
        float firstDy = w.YFrom - w.Y;
        for (int x = w.XFrom; x <= w.XTo; x += T.Count)
        {
            T dx = T.Ramp + T.Of(x - w.X);
            T square = a * dx * dx;
            T slope = T.Of(w.B) * dx;
            nint at = (w.YFrom * stamp.Stride) + x;
            if (stepwise)
            {
                // From row to row the weight changes by a factor, and that factor by a fixed one.
                T weight = LaneMath.Exp(T.MulAdd(slope, T.Of(firstDy), square) + T.Of(w.C * firstDy * firstDy));
                T factor = LaneMath.Exp(slope + T.Of(w.C * ((2 * firstDy) + 1)));
                T bend = LaneMath.Exp(T.Of(2 * w.C));
                T d = T.Of(firstDy), one = T.Of(1);
                for (int y = w.YFrom; y <= w.YTo; y++, at += stamp.Stride)
                {
                    T v = T.Load(ref pixels, at) * weight;
                    T vx = v * dx, vy = v * d;
                    s += v;
                    sx += vx;
                    sy += vy;
                    sxx = T.MulAdd(vx, dx, sxx);
                    sxy = T.MulAdd(vx, d, sxy);
                    syy = T.MulAdd(vy, d, syy);
                    weight *= factor;
                    factor *= bend;
                    d += one;
                }

                continue;
            }

            for (int y = w.YFrom; y <= w.YTo; y++, at += stamp.Stride)
            {
                float dy = y - w.Y;
                T d = T.Of(dy);
                T q = T.MulAdd(slope, d, square) + T.Of(w.C * dy * dy);
                T v = T.Load(ref pixels, at) * LaneMath.Exp(q);
                T vx = v * dx, vy = v * d;
                s += v;
                sx += vx;
                sy += vy;
                sxx = T.MulAdd(vx, dx, sxx);
                sxy = T.MulAdd(vx, d, sxy);
                syy = T.MulAdd(vy, d, syy);
            }
        }

        return new WeightedSums(T.Sum(s), T.Sum(sx), T.Sum(sy), T.Sum(sxx), T.Sum(sxy), T.Sum(syy));
    }
}
