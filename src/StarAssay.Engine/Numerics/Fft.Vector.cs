using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;
using System.Runtime.Intrinsics.X86;

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
        Vector512<float> half = Vector512.Create(-0.5f);
        Vector512<float> root = Vector512.Create(Root3Half);
        for (int p = 0; p < m; p++)
        {
            Vec w1 = Vec.Broadcast(w + (4 * p));
            Vec w2 = Vec.Broadcast(w + (4 * p) + 2);
            for (int q = 0; q < stride; q++)
            {
                Vec a = from.At(q + (stride * p));
                Vec b = from.At(q + (stride * (p + m)));
                Vec c = from.At(q + (stride * (p + (2 * m))));
                Vec sum = b + c;
                Vec difference = b - c;
                var middle = new Vec(Vector512.FusedMultiplyAdd(half, sum.Re, a.Re), Vector512.FusedMultiplyAdd(half, sum.Im, a.Im));
                var turned = new Vec(root * difference.Im, -(root * difference.Re)); // -i sqrt(3)/2 (b - c)
                int k = q + (stride * 3 * p);
                Write(to, k, a + sum);
                Write(to, k + stride, (middle + turned) * w1);
                Write(to, k + (2 * stride), (middle - turned) * w2);
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

    // Sixteen outputs of sixteen columns become sixteen row pieces of sixteen.
    private unsafe void Store(float* from, in SplitMatrix target, int column, int columns, int first, int count)
    {
        int stride = target.Stride;
        float* re = target.RePointer + (column * stride);
        float* im = target.ImPointer + (column * stride);
        float** rows = stackalloc float*[Lanes];
        for (int k = 0; k < count; k += Lanes)
        {
            for (int i = 0; i < Lanes; i++)
            {
                rows[i] = from + (Wrap(first + k + i) * 2 * Lanes);
            }

            if (Avx512F.IsSupported && columns == Lanes)
            {
                Transpose(rows, 0, re + k, stride);
                Transpose(rows, Lanes, im + k, stride);
                continue;
            }

            for (int c = 0; c < columns; c++)
            {
                for (int i = 0; i < Lanes; i++)
                {
                    re[(c * stride) + k + i] = rows[i][c];
                    im[(c * stride) + k + i] = rows[i][c + Lanes];
                }
            }
        }
    }

    // A 16 x 16 transpose in four rounds: pairs of floats, pairs of doubles, then 128-bit quarters twice.
    private static unsafe void Transpose(float** rows, int offset, float* to, int stride)
    {
        Vector512<float>* a = stackalloc Vector512<float>[Lanes];
        for (int g = 0; g < Lanes; g += 4)
        {
            Vector512<float> r0 = Vector512.Load(rows[g] + offset);
            Vector512<float> r1 = Vector512.Load(rows[g + 1] + offset);
            Vector512<float> r2 = Vector512.Load(rows[g + 2] + offset);
            Vector512<float> r3 = Vector512.Load(rows[g + 3] + offset);
            Vector512<double> lo01 = Avx512F.UnpackLow(r0, r1).AsDouble();
            Vector512<double> hi01 = Avx512F.UnpackHigh(r0, r1).AsDouble();
            Vector512<double> lo23 = Avx512F.UnpackLow(r2, r3).AsDouble();
            Vector512<double> hi23 = Avx512F.UnpackHigh(r2, r3).AsDouble();
            a[g] = Avx512F.UnpackLow(lo01, lo23).AsSingle();
            a[g + 1] = Avx512F.UnpackHigh(lo01, lo23).AsSingle();
            a[g + 2] = Avx512F.UnpackLow(hi01, hi23).AsSingle();
            a[g + 3] = Avx512F.UnpackHigh(hi01, hi23).AsSingle();
        }

        // a[4g + i] holds in quarter h the rows 4g..4g+3 of column 4h + i.
        for (int i = 0; i < 4; i++)
        {
            Vector512<float> p = Avx512F.Shuffle4x128(a[i], a[4 + i], 0x88);
            Vector512<float> q = Avx512F.Shuffle4x128(a[8 + i], a[12 + i], 0x88);
            Vector512<float> s = Avx512F.Shuffle4x128(a[i], a[4 + i], 0xDD);
            Vector512<float> t = Avx512F.Shuffle4x128(a[8 + i], a[12 + i], 0xDD);
            Avx512F.Shuffle4x128(p, q, 0x88).Store(to + (i * stride));
            Avx512F.Shuffle4x128(s, t, 0x88).Store(to + ((4 + i) * stride));
            Avx512F.Shuffle4x128(p, q, 0xDD).Store(to + ((8 + i) * stride));
            Avx512F.Shuffle4x128(s, t, 0xDD).Store(to + ((12 + i) * stride));
        }
    }

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
