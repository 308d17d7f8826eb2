using System.Runtime.CompilerServices;

namespace StarAssay.Engine.Numerics;

/// <content>
/// The stages. A buffer holds for each index 16 real parts followed by 16 imaginary parts, one lane a column. Stages are
/// Stockham's (they sort by themselves): with n' = r m points left and stride s,
/// y[q + s (r p + j)] = w^(jp) sum over k of x[q + s (p + m k)] exp(-2 pi i jk/r), w = exp(-2 pi i/n').
/// Registers of less than sixteen lanes do a stage in two or four turns, some columns each.
/// </content>
internal sealed partial class Fft
{
    private const float Root3Half = 0.866025403784438647f;
    private const float Root2Half = 0.707106781186547524f;

    private static unsafe void Stage<T, TFrom>(int radix, int m, int stride, float* w, TFrom from, float* to)
        where T : struct, ILanes<T>
        where TFrom : struct, IPoints<T>
    {
        switch (radix)
        {
            case 8:
                Stage8<T, TFrom>(m, stride, w, from, to);
                break;
            case 6:
                Stage6<T, TFrom>(m, stride, w, from, to);
                break;
            case 4:
                Stage4<T, TFrom>(m, stride, w, from, to);
                break;
            case 3:
                Stage3<T, TFrom>(m, stride, w, from, to);
                break;
            default:
                Stage2<T, TFrom>(m, stride, w, from, to);
                break;
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static unsafe void Write<T>(float* buffer, int index, Vec<T> v)
        where T : struct, ILanes<T>
    {
        T.Store(v.Re, ref *(buffer + (index * 2 * Lanes)), 0);
        T.Store(v.Im, ref *(buffer + (index * 2 * Lanes) + Lanes), 0);
    }

    private static unsafe void Stage2<T, TFrom>(int m, int stride, float* w, TFrom from, float* to)
        where T : struct, ILanes<T>
        where TFrom : struct, IPoints<T>
    {
        for (int p = 0; p < m; p++)
        {
            Vec<T> w1 = Vec<T>.Broadcast(w + (2 * p));
            for (int q = 0; q < stride; q++)
            {
                Vec<T> a = from.At(q + (stride * p));
                Vec<T> b = from.At(q + (stride * (p + m)));
                int k = q + (stride * 2 * p);
                Write(to, k, a + b);
                Write(to, k + stride, (a - b) * w1);
            }
        }
    }

    private static unsafe void Stage3<T, TFrom>(int m, int stride, float* w, TFrom from, float* to)
        where T : struct, ILanes<T>
        where TFrom : struct, IPoints<T>
    {
        for (int p = 0; p < m; p++)
        {
            Vec<T> w1 = Vec<T>.Broadcast(w + (4 * p));
            Vec<T> w2 = Vec<T>.Broadcast(w + (4 * p) + 2);
            for (int q = 0; q < stride; q++)
            {
                int i = q + (stride * p);
                (Vec<T> zero, Vec<T> one, Vec<T> two) = Three(from.At(i), from.At(i + (stride * m)), from.At(i + (2 * stride * m)));
                int k = q + (stride * 3 * p);
                Write(to, k, zero);
                Write(to, k + stride, one * w1);
                Write(to, k + (2 * stride), two * w2);
            }
        }
    }

    private static unsafe void Stage4<T, TFrom>(int m, int stride, float* w, TFrom from, float* to)
        where T : struct, ILanes<T>
        where TFrom : struct, IPoints<T>
    {
        for (int p = 0; p < m; p++)
        {
            Vec<T> w1 = Vec<T>.Broadcast(w + (6 * p));
            Vec<T> w2 = Vec<T>.Broadcast(w + (6 * p) + 2);
            Vec<T> w3 = Vec<T>.Broadcast(w + (6 * p) + 4);
            for (int q = 0; q < stride; q++)
            {
                Vec<T> a = from.At(q + (stride * p));
                Vec<T> b = from.At(q + (stride * (p + m)));
                Vec<T> c = from.At(q + (stride * (p + (2 * m))));
                Vec<T> d = from.At(q + (stride * (p + (3 * m))));
                Vec<T> ac = a + c;
                Vec<T> bd = b + d;
                Vec<T> e = a - c;
                Vec<T> f = (b - d).TimesMinusI();
                int k = q + (stride * 4 * p);
                Write(to, k, ac + bd);
                Write(to, k + stride, (e + f) * w1);
                Write(to, k + (2 * stride), (ac - bd) * w2);
                Write(to, k + (3 * stride), (e - f) * w3);
            }
        }
    }

    // Two transforms of three points, of the even and of the odd points, then three of two.
    private static unsafe void Stage6<T, TFrom>(int m, int stride, float* w, TFrom from, float* to)
        where T : struct, ILanes<T>
        where TFrom : struct, IPoints<T>
    {
        T root = T.Of(Root3Half);
        for (int p = 0; p < m; p++)
        {
            float* wp = w + (10 * p);
            for (int q = 0; q < stride; q++)
            {
                int i = q + (stride * p);
                int step = stride * m;
                (Vec<T> e0, Vec<T> e1, Vec<T> e2) = Three(from.At(i), from.At(i + (2 * step)), from.At(i + (4 * step)));
                (Vec<T> o0, Vec<T> o1, Vec<T> o2) = Three(from.At(i + step), from.At(i + (3 * step)), from.At(i + (5 * step)));

                // exp(-i pi/3) o1 and exp(-2 i pi/3) o2.
                var t1 = new Vec<T>(T.MulAdd(root, o1.Im, o1.Re * T.Of(0.5f)), T.MulAdd(-root, o1.Re, o1.Im * T.Of(0.5f)));
                var t2 = new Vec<T>(T.MulAdd(root, o2.Im, o2.Re * T.Of(-0.5f)), T.MulAdd(-root, o2.Re, o2.Im * T.Of(-0.5f)));
                int k = q + (stride * 6 * p);
                Write(to, k, e0 + o0);
                Write(to, k + stride, (e1 + t1) * Vec<T>.Broadcast(wp));
                Write(to, k + (2 * stride), (e2 + t2) * Vec<T>.Broadcast(wp + 2));
                Write(to, k + (3 * stride), (e0 - o0) * Vec<T>.Broadcast(wp + 4));
                Write(to, k + (4 * stride), (e1 - t1) * Vec<T>.Broadcast(wp + 6));
                Write(to, k + (5 * stride), (e2 - t2) * Vec<T>.Broadcast(wp + 8));
            }
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static (Vec<T> Zero, Vec<T> One, Vec<T> Two) Three<T>(Vec<T> a, Vec<T> b, Vec<T> c)
        where T : struct, ILanes<T>
    {
        T half = T.Of(-0.5f);
        T root = T.Of(Root3Half);
        Vec<T> sum = b + c;
        Vec<T> difference = b - c;
        var middle = new Vec<T>(T.MulAdd(half, sum.Re, a.Re), T.MulAdd(half, sum.Im, a.Im));
        var turned = new Vec<T>(root * difference.Im, -(root * difference.Re)); // -i sqrt(3)/2 (b - c)
        return (a + sum, middle + turned, middle - turned);
    }

    private static unsafe void Stage8<T, TFrom>(int m, int stride, float* w, TFrom from, float* to)
        where T : struct, ILanes<T>
        where TFrom : struct, IPoints<T>
    {
        T root = T.Of(Root2Half);
        for (int p = 0; p < m; p++)
        {
            float* wp = w + (14 * p);
            for (int q = 0; q < stride; q++)
            {
                int i = q + (stride * p);
                int step = stride * m;
                Vec<T> x0 = from.At(i);
                Vec<T> x4 = from.At(i + (4 * step));
                Vec<T> a0 = x0 + x4;
                Vec<T> b0 = x0 - x4;
                Vec<T> x2 = from.At(i + (2 * step));
                Vec<T> x6 = from.At(i + (6 * step));
                Vec<T> a2 = x2 + x6;
                Vec<T> b2 = (x2 - x6).TimesMinusI();
                Vec<T> x1 = from.At(i + step);
                Vec<T> x5 = from.At(i + (5 * step));
                Vec<T> a1 = x1 + x5;
                Vec<T> b1 = x1 - x5;
                Vec<T> x3 = from.At(i + (3 * step));
                Vec<T> x7 = from.At(i + (7 * step));
                Vec<T> a3 = x3 + x7;
                Vec<T> b3 = (x3 - x7).TimesMinusI();

                // Even outputs: four points of the a; odd outputs: four points of the b with eighth-turn factors.
                Vec<T> c0 = a0 + a2;
                Vec<T> c2 = a0 - a2;
                Vec<T> c1 = a1 + a3;
                Vec<T> c3 = (a1 - a3).TimesMinusI();
                int k = q + (stride * 8 * p);
                Write(to, k, c0 + c1);
                Write(to, k + (4 * stride), (c0 - c1) * Vec<T>.Broadcast(wp + 6));
                Write(to, k + (2 * stride), (c2 + c3) * Vec<T>.Broadcast(wp + 2));
                Write(to, k + (6 * stride), (c2 - c3) * Vec<T>.Broadcast(wp + 10));

                Vec<T> d0 = b0 + b2;
                Vec<T> d2 = b0 - b2;
                Vec<T> s = b1 + b3;
                Vec<T> t = b1 - b3;

                // exp(-i pi/4) s and exp(-3 i pi/4) t.
                var d1 = new Vec<T>(root * (s.Re + s.Im), root * (s.Im - s.Re));
                var d3 = new Vec<T>(root * (t.Im - t.Re), -(root * (t.Re + t.Im)));
                Write(to, k + stride, (d0 + d1) * Vec<T>.Broadcast(wp));
                Write(to, k + (5 * stride), (d0 - d1) * Vec<T>.Broadcast(wp + 8));
                Write(to, k + (3 * stride), (d2 + d3) * Vec<T>.Broadcast(wp + 4));
                Write(to, k + (7 * stride), (d2 - d3) * Vec<T>.Broadcast(wp + 12));
            }
        }
    }

    // Where the first stage finds each point: a row of the source, or zeros.
    private unsafe void Point(in SplitMatrix source, int rows, int rowShift, FftScratch scratch)
    {
        if (!scratch.IsNew(source, rows, rowShift, Size))
        {
            return;
        }

        float** re = scratch.ReRows;
        float** im = scratch.ImRows;
        int k = Wrap(rowShift);
        for (int r = 0; r < Size; r++)
        {
            re[k] = r < rows ? source.RePointer + (r * source.Stride) : scratch.Zeros;
            im[k] = r < rows ? source.ImPointer + (r * source.Stride) : scratch.Zeros;
            k = k + 1 == Size ? 0 : k + 1;
        }
    }

    private int Wrap(int k) => ((k % Size) + Size) % Size;

    // Points of as many transforms as a register has lanes, from a stage before or from the matrix.
    private interface IPoints<T>
        where T : struct, ILanes<T>
    {
        Vec<T> At(int index);
    }

    private readonly unsafe struct Buffer<T>(float* values) : IPoints<T>
        where T : struct, ILanes<T>
    {
        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public Vec<T> At(int index) =>
            new(T.Load(ref *(values + (index * 2 * Lanes)), 0), T.Load(ref *(values + (index * 2 * Lanes) + Lanes), 0));
    }

    private readonly unsafe struct MatrixRows<T>(float** re, float** im, int column) : IPoints<T>
        where T : struct, ILanes<T>
    {
        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public Vec<T> At(int index) => new(T.Load(ref *(re[index] + column), 0), T.Load(ref *(im[index] + column), 0));
    }

    private readonly struct Vec<T>(T re, T im)
        where T : struct, ILanes<T>
    {
        public readonly T Re = re;
        public readonly T Im = im;

        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public static Vec<T> operator +(Vec<T> a, Vec<T> b) => new(a.Re + b.Re, a.Im + b.Im);

        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public static Vec<T> operator -(Vec<T> a, Vec<T> b) => new(a.Re - b.Re, a.Im - b.Im);

        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public static Vec<T> operator *(Vec<T> a, Vec<T> w) => new(
            T.MulAdd(a.Re, w.Re, -(a.Im * w.Im)),
            T.MulAdd(a.Re, w.Im, a.Im * w.Re));

        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public static unsafe Vec<T> Broadcast(float* w) => new(T.Of(w[0]), T.Of(w[1]));

        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public Vec<T> TimesMinusI() => new(Im, -Re);
    }
}
