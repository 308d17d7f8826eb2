using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace StarAssay.Engine.Numerics;

/// <content>
/// The stages. A buffer holds for each index 16 real parts followed by 16 imaginary parts, one lane a column. Stages are
/// Stockham's (they sort by themselves): with n' = r m points left and stride s,
/// y[q + s (r p + j)] = w^(jp) sum over k of x[q + s (p + m k)] exp(-2 pi i jk/r), w = exp(-2 pi i/n').
/// On machines without 512-bit vectors the runtime splits each operation in two; the values are the same.
/// </content>
internal sealed partial class Fft
{
    private const float Root3Half = 0.866025403784438647f;
    private const float Root2Half = 0.707106781186547524f;

    private static unsafe void Stage<TFrom>(int radix, int m, int stride, float* w, TFrom from, float* to)
        where TFrom : struct, IPoints
    {
        switch (radix)
        {
            case 8:
                Stage8(m, stride, w, from, to);
                break;
            case 6:
                Stage6(m, stride, w, from, to);
                break;
            case 4:
                Stage4(m, stride, w, from, to);
                break;
            case 3:
                Stage3(m, stride, w, from, to);
                break;
            default:
                Stage2(m, stride, w, from, to);
                break;
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static unsafe void Write(float* buffer, int index, Vec v)
    {
        v.Re.Store(buffer + (index * 2 * Lanes));
        v.Im.Store(buffer + (index * 2 * Lanes) + Lanes);
    }

    private static unsafe void Stage2<TFrom>(int m, int stride, float* w, TFrom from, float* to)
        where TFrom : struct, IPoints
    {
        for (int p = 0; p < m; p++)
        {
            Vec w1 = Vec.Broadcast(w + (2 * p));
            for (int q = 0; q < stride; q++)
            {
                Vec a = from.At(q + (stride * p));
                Vec b = from.At(q + (stride * (p + m)));
                int k = q + (stride * 2 * p);
                Write(to, k, a + b);
                Write(to, k + stride, (a - b) * w1);
            }
        }
    }

    private static unsafe void Stage3<TFrom>(int m, int stride, float* w, TFrom from, float* to)
        where TFrom : struct, IPoints
    {
        for (int p = 0; p < m; p++)
        {
            Vec w1 = Vec.Broadcast(w + (4 * p));
            Vec w2 = Vec.Broadcast(w + (4 * p) + 2);
            for (int q = 0; q < stride; q++)
            {
                int i = q + (stride * p);
                (Vec zero, Vec one, Vec two) = Three(from.At(i), from.At(i + (stride * m)), from.At(i + (2 * stride * m)));
                int k = q + (stride * 3 * p);
                Write(to, k, zero);
                Write(to, k + stride, one * w1);
                Write(to, k + (2 * stride), two * w2);
            }
        }
    }

    private static unsafe void Stage4<TFrom>(int m, int stride, float* w, TFrom from, float* to)
        where TFrom : struct, IPoints
    {
        for (int p = 0; p < m; p++)
        {
            Vec w1 = Vec.Broadcast(w + (6 * p));
            Vec w2 = Vec.Broadcast(w + (6 * p) + 2);
            Vec w3 = Vec.Broadcast(w + (6 * p) + 4);
            for (int q = 0; q < stride; q++)
            {
                Vec a = from.At(q + (stride * p));
                Vec b = from.At(q + (stride * (p + m)));
                Vec c = from.At(q + (stride * (p + (2 * m))));
                Vec d = from.At(q + (stride * (p + (3 * m))));
                Vec ac = a + c;
                Vec bd = b + d;
                Vec e = a - c;
                Vec f = (b - d).TimesMinusI();
                int k = q + (stride * 4 * p);
                Write(to, k, ac + bd);
                Write(to, k + stride, (e + f) * w1);
                Write(to, k + (2 * stride), (ac - bd) * w2);
                Write(to, k + (3 * stride), (e - f) * w3);
            }
        }
    }

    // Two transforms of three points, of the even and of the odd points, then three of two.
    private static unsafe void Stage6<TFrom>(int m, int stride, float* w, TFrom from, float* to)
        where TFrom : struct, IPoints
    {
        Vector512<float> root = Vector512.Create(Root3Half);
        for (int p = 0; p < m; p++)
        {
            float* wp = w + (10 * p);
            for (int q = 0; q < stride; q++)
            {
                int i = q + (stride * p);
                int step = stride * m;
                (Vec e0, Vec e1, Vec e2) = Three(from.At(i), from.At(i + (2 * step)), from.At(i + (4 * step)));
                (Vec o0, Vec o1, Vec o2) = Three(from.At(i + step), from.At(i + (3 * step)), from.At(i + (5 * step)));

                // exp(-i pi/3) o1 and exp(-2 i pi/3) o2.
                var t1 = new Vec(Vector512.FusedMultiplyAdd(root, o1.Im, o1.Re * 0.5f), Vector512.FusedMultiplyAdd(-root, o1.Re, o1.Im * 0.5f));
                var t2 = new Vec(Vector512.FusedMultiplyAdd(root, o2.Im, o2.Re * -0.5f), Vector512.FusedMultiplyAdd(-root, o2.Re, o2.Im * -0.5f));
                int k = q + (stride * 6 * p);
                Write(to, k, e0 + o0);
                Write(to, k + stride, (e1 + t1) * Vec.Broadcast(wp));
                Write(to, k + (2 * stride), (e2 + t2) * Vec.Broadcast(wp + 2));
                Write(to, k + (3 * stride), (e0 - o0) * Vec.Broadcast(wp + 4));
                Write(to, k + (4 * stride), (e1 - t1) * Vec.Broadcast(wp + 6));
                Write(to, k + (5 * stride), (e2 - t2) * Vec.Broadcast(wp + 8));
            }
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static (Vec Zero, Vec One, Vec Two) Three(Vec a, Vec b, Vec c)
    {
        Vector512<float> half = Vector512.Create(-0.5f);
        Vector512<float> root = Vector512.Create(Root3Half);
        Vec sum = b + c;
        Vec difference = b - c;
        var middle = new Vec(Vector512.FusedMultiplyAdd(half, sum.Re, a.Re), Vector512.FusedMultiplyAdd(half, sum.Im, a.Im));
        var turned = new Vec(root * difference.Im, -(root * difference.Re)); // -i sqrt(3)/2 (b - c)
        return (a + sum, middle + turned, middle - turned);
    }

    private static unsafe void Stage8<TFrom>(int m, int stride, float* w, TFrom from, float* to)
        where TFrom : struct, IPoints
    {
        Vector512<float> root = Vector512.Create(Root2Half);
        for (int p = 0; p < m; p++)
        {
            float* wp = w + (14 * p);
            for (int q = 0; q < stride; q++)
            {
                int i = q + (stride * p);
                int step = stride * m;
                Vec x0 = from.At(i);
                Vec x4 = from.At(i + (4 * step));
                Vec a0 = x0 + x4;
                Vec b0 = x0 - x4;
                Vec x2 = from.At(i + (2 * step));
                Vec x6 = from.At(i + (6 * step));
                Vec a2 = x2 + x6;
                Vec b2 = (x2 - x6).TimesMinusI();
                Vec x1 = from.At(i + step);
                Vec x5 = from.At(i + (5 * step));
                Vec a1 = x1 + x5;
                Vec b1 = x1 - x5;
                Vec x3 = from.At(i + (3 * step));
                Vec x7 = from.At(i + (7 * step));
                Vec a3 = x3 + x7;
                Vec b3 = (x3 - x7).TimesMinusI();

                // Even outputs: four points of the a; odd outputs: four points of the b with eighth-turn factors.
                Vec c0 = a0 + a2;
                Vec c2 = a0 - a2;
                Vec c1 = a1 + a3;
                Vec c3 = (a1 - a3).TimesMinusI();
                int k = q + (stride * 8 * p);
                Write(to, k, c0 + c1);
                Write(to, k + (4 * stride), (c0 - c1) * Vec.Broadcast(wp + 6));
                Write(to, k + (2 * stride), (c2 + c3) * Vec.Broadcast(wp + 2));
                Write(to, k + (6 * stride), (c2 - c3) * Vec.Broadcast(wp + 10));

                Vec d0 = b0 + b2;
                Vec d2 = b0 - b2;
                Vec s = b1 + b3;
                Vec t = b1 - b3;

                // exp(-i pi/4) s and exp(-3 i pi/4) t.
                var d1 = new Vec(root * (s.Re + s.Im), root * (s.Im - s.Re));
                var d3 = new Vec(root * (t.Im - t.Re), -(root * (t.Re + t.Im)));
                Write(to, k + stride, (d0 + d1) * Vec.Broadcast(wp));
                Write(to, k + (5 * stride), (d0 - d1) * Vec.Broadcast(wp + 8));
                Write(to, k + (3 * stride), (d2 + d3) * Vec.Broadcast(wp + 4));
                Write(to, k + (7 * stride), (d2 - d3) * Vec.Broadcast(wp + 12));
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

    // Points of sixteen transforms, from a stage before or from the matrix.
    private interface IPoints
    {
        Vec At(int index);
    }

    private readonly unsafe struct Buffer(float* values) : IPoints
    {
        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public Vec At(int index) =>
            new(Vector512.Load(values + (index * 2 * Lanes)), Vector512.Load(values + (index * 2 * Lanes) + Lanes));
    }

    private readonly unsafe struct MatrixRows(float** re, float** im, int column) : IPoints
    {
        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public Vec At(int index) => new(Vector512.Load(re[index] + column), Vector512.Load(im[index] + column));
    }

    private readonly struct Vec(Vector512<float> re, Vector512<float> im)
    {
        public readonly Vector512<float> Re = re;
        public readonly Vector512<float> Im = im;

        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public static Vec operator +(Vec a, Vec b) => new(a.Re + b.Re, a.Im + b.Im);

        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public static Vec operator -(Vec a, Vec b) => new(a.Re - b.Re, a.Im - b.Im);

        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public static Vec operator *(Vec a, Vec w) => new(
            Vector512.FusedMultiplyAdd(a.Re, w.Re, -(a.Im * w.Im)),
            Vector512.FusedMultiplyAdd(a.Re, w.Im, a.Im * w.Re));

        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public static unsafe Vec Broadcast(float* w) => new(Vector512.Create(w[0]), Vector512.Create(w[1]));

        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public Vec TimesMinusI() => new(Im, -Re);
    }
}
