using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;

namespace StarAssay.Engine.Numerics;

/// <summary>Scalar products of many long rows with each other: the normal equations of a least-squares fit.</summary>
/// <remarks>Products of 1024 elements are summed in single precision in the lanes of a register, blocks in double precision, so the
/// relative error stays near 1e-7 whatever the length. Four rows meet four rows at a time, to load each value once for
/// four products. The result does not depend on the number of workers.</remarks>
internal static class Gram
{
    private const int Chunk = 1024;

    /// <summary>All products of the rows.</summary>
    /// <param name="rows">Rows of equal length, a multiple of 16.</param>
    /// <param name="team">Workers.</param>
    /// <returns>Symmetric matrix.</returns>
    public static double[,] Products(float[][] rows, Team team)
    {
        int n = rows.Length;
        double[,] result = new double[n, n];
        int tiles = (n + 3) / 4;
        int pairs = tiles * (tiles + 1) / 2;
        team.For(pairs, (pair, _) =>
        {
            int a = (int)((Math.Sqrt((8.0 * pair) + 1) - 1) / 2);
            while (a * (a + 1) / 2 > pair)
            {
                a--;
            }

            while ((a + 1) * (a + 2) / 2 <= pair)
            {
                a++;
            }

            Tile(rows, 4 * a, 4 * (pair - (a * (a + 1) / 2)), result);
        });
        return result;
    }

    /// <summary>Product of two rows.</summary>
    public static double Dot(ReadOnlySpan<float> a, ReadOnlySpan<float> b) => Vector512.IsHardwareAccelerated ? DotLanes<Lanes512>(a, b)
        : Vector256.IsHardwareAccelerated ? DotLanes<Lanes256>(a, b)
        : DotLanes<Lanes128>(a, b);

    private static double DotLanes<T>(ReadOnlySpan<float> a, ReadOnlySpan<float> b)
        where T : struct, ILanes<T>
    {
        b = b[..a.Length];
        ref float ra = ref MemoryMarshal.GetReference(a);
        ref float rb = ref MemoryMarshal.GetReference(b);
        double sum = 0;
        for (int begin = 0; begin < a.Length; begin += Chunk)
        {
            int end = Math.Min(a.Length, begin + Chunk);
            T s = T.Of(0);
            int i = begin;
            for (; i <= end - T.Count; i += T.Count)
            {
                s = T.MulAdd(T.Load(ref ra, i), T.Load(ref rb, i), s);
            }

            sum += T.Sum(s);
            for (; i < end; i++)
            {
                sum += a[i] * b[i];
            }
        }

        return sum;
    }

    private static unsafe void Tile(float[][] rows, int i0, int j0, double[,] result)
    {
        int last = rows.Length - 1;
        int length = rows[0].Length;
        double* sums = stackalloc double[16];
        new Span<double>(sums, 16).Clear();
        fixed (float* a0 = rows[i0], a1 = rows[Math.Min(i0 + 1, last)], a2 = rows[Math.Min(i0 + 2, last)], a3 = rows[Math.Min(i0 + 3, last)])
        fixed (float* b0 = rows[j0], b1 = rows[Math.Min(j0 + 1, last)], b2 = rows[Math.Min(j0 + 2, last)], b3 = rows[Math.Min(j0 + 3, last)])
        {
            float** a = stackalloc float*[] { a0, a1, a2, a3 };
            float** b = stackalloc float*[] { b0, b1, b2, b3 };
            if (Vector512.IsHardwareAccelerated)
            {
                Sixteen<Lanes512>(a, b, length, sums);
            }
            else if (Vector256.IsHardwareAccelerated)
            {
                // Of the sixteen registers there eight hold sums.
                Eight<Lanes256>(a, b, length, sums);
                Eight<Lanes256>(a, b + 2, length, sums + 2);
            }
            else
            {
                Eight<Lanes128>(a, b, length, sums);
                Eight<Lanes128>(a, b + 2, length, sums + 2);
            }
        }

        for (int i = 0; i < 4; i++)
        {
            for (int j = 0; j < 4; j++)
            {
                Put(result, i0 + i, j0 + j, sums[(4 * i) + j]);
            }
        }
    }

    // Sixteen products in sixteen registers: eight loads for sixteen multiplications.
    private static unsafe void Sixteen<T>(float** a, float** b, int length, double* sums)
        where T : struct, ILanes<T>
    {
        float* a0 = a[0], a1 = a[1], a2 = a[2], a3 = a[3], b0 = b[0], b1 = b[1], b2 = b[2], b3 = b[3];
        for (int begin = 0; begin < length; begin += Chunk)
        {
            T s00 = T.Of(0), s01 = s00, s02 = s00, s03 = s00;
            T s10 = s00, s11 = s00, s12 = s00, s13 = s00;
            T s20 = s00, s21 = s00, s22 = s00, s23 = s00;
            T s30 = s00, s31 = s00, s32 = s00, s33 = s00;
            int end = Math.Min(length, begin + Chunk);
            for (int i = begin; i < end; i += T.Count)
            {
                T u0 = T.Load(ref *a0, i), u1 = T.Load(ref *a1, i), u2 = T.Load(ref *a2, i), u3 = T.Load(ref *a3, i);
                T v = T.Load(ref *b0, i);
                s00 = T.MulAdd(u0, v, s00);
                s10 = T.MulAdd(u1, v, s10);
                s20 = T.MulAdd(u2, v, s20);
                s30 = T.MulAdd(u3, v, s30);
                v = T.Load(ref *b1, i);
                s01 = T.MulAdd(u0, v, s01);
                s11 = T.MulAdd(u1, v, s11);
                s21 = T.MulAdd(u2, v, s21);
                s31 = T.MulAdd(u3, v, s31);
                v = T.Load(ref *b2, i);
                s02 = T.MulAdd(u0, v, s02);
                s12 = T.MulAdd(u1, v, s12);
                s22 = T.MulAdd(u2, v, s22);
                s32 = T.MulAdd(u3, v, s32);
                v = T.Load(ref *b3, i);
                s03 = T.MulAdd(u0, v, s03);
                s13 = T.MulAdd(u1, v, s13);
                s23 = T.MulAdd(u2, v, s23);
                s33 = T.MulAdd(u3, v, s33);
            }

            AddSums(sums, s00, s01, s02, s03);
            AddSums(sums + 4, s10, s11, s12, s13);
            AddSums(sums + 8, s20, s21, s22, s23);
            AddSums(sums + 12, s30, s31, s32, s33);
        }
    }

    // Four rows with the first two of the others; sums lie as those of four with four.
    private static unsafe void Eight<T>(float** a, float** b, int length, double* sums)
        where T : struct, ILanes<T>
    {
        float* a0 = a[0], a1 = a[1], a2 = a[2], a3 = a[3], b0 = b[0], b1 = b[1];
        for (int begin = 0; begin < length; begin += Chunk)
        {
            T s00 = T.Of(0), s01 = s00, s10 = s00, s11 = s00, s20 = s00, s21 = s00, s30 = s00, s31 = s00;
            int end = Math.Min(length, begin + Chunk);
            for (int i = begin; i < end; i += T.Count)
            {
                T v = T.Load(ref *b0, i), w = T.Load(ref *b1, i);
                T u = T.Load(ref *a0, i);
                s00 = T.MulAdd(u, v, s00);
                s01 = T.MulAdd(u, w, s01);
                u = T.Load(ref *a1, i);
                s10 = T.MulAdd(u, v, s10);
                s11 = T.MulAdd(u, w, s11);
                u = T.Load(ref *a2, i);
                s20 = T.MulAdd(u, v, s20);
                s21 = T.MulAdd(u, w, s21);
                u = T.Load(ref *a3, i);
                s30 = T.MulAdd(u, v, s30);
                s31 = T.MulAdd(u, w, s31);
            }

            AddSums(sums, s00, s01);
            AddSums(sums + 4, s10, s11);
            AddSums(sums + 8, s20, s21);
            AddSums(sums + 12, s30, s31);
        }
    }

    private static unsafe void AddSums<T>(double* to, T a, T b, T c, T d)
        where T : struct, ILanes<T>
    {
        AddSums(to, a, b);
        AddSums(to + 2, c, d);
    }

    private static unsafe void AddSums<T>(double* to, T a, T b)
        where T : struct, ILanes<T>
    {
        to[0] += T.Sum(a);
        to[1] += T.Sum(b);
    }

    private static void Put(double[,] result, int i, int j, double value)
    {
        if (i < result.GetLength(0) && j <= i)
        {
            result[i, j] = value;
            result[j, i] = value;
        }
    }
}
