using System.Runtime.Intrinsics;

namespace StarAssay.Engine.Numerics;

/// <summary>Scalar products of many long rows with each other: the normal equations of a least-squares fit.</summary>
/// <remarks>Products of 1024 elements are summed in single precision in sixteen lanes, blocks in double precision, so the
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
    public static double Dot(ReadOnlySpan<float> a, ReadOnlySpan<float> b)
    {
        double sum = 0;
        for (int begin = 0; begin < a.Length; begin += Chunk)
        {
            int end = Math.Min(a.Length, begin + Chunk);
            Vector512<float> s = Vector512<float>.Zero;
            int i = begin;
            for (; i <= end - Fft.Lanes; i += Fft.Lanes)
            {
                s = Vector512.FusedMultiplyAdd(Vector512.Create(a.Slice(i, Fft.Lanes)), Vector512.Create(b.Slice(i, Fft.Lanes)), s);
            }

            sum += Vector512.Sum(s);
            for (; i < end; i++)
            {
                sum += a[i] * b[i];
            }
        }

        return sum;
    }

    // Sixteen products in sixteen registers: eight loads for sixteen multiplications.
    private static unsafe void Tile(float[][] rows, int i0, int j0, double[,] result)
    {
        int last = rows.Length - 1;
        int length = rows[0].Length;
        double* sums = stackalloc double[16];
        new Span<double>(sums, 16).Clear();
        fixed (float* a0 = rows[i0], a1 = rows[Math.Min(i0 + 1, last)], a2 = rows[Math.Min(i0 + 2, last)], a3 = rows[Math.Min(i0 + 3, last)])
        fixed (float* b0 = rows[j0], b1 = rows[Math.Min(j0 + 1, last)], b2 = rows[Math.Min(j0 + 2, last)], b3 = rows[Math.Min(j0 + 3, last)])
        {
            for (int begin = 0; begin < length; begin += Chunk)
            {
                Vector512<float> s00 = default, s01 = default, s02 = default, s03 = default;
                Vector512<float> s10 = default, s11 = default, s12 = default, s13 = default;
                Vector512<float> s20 = default, s21 = default, s22 = default, s23 = default;
                Vector512<float> s30 = default, s31 = default, s32 = default, s33 = default;
                int end = Math.Min(length, begin + Chunk);
                for (int i = begin; i < end; i += Fft.Lanes)
                {
                    var u0 = Vector512.Load(a0 + i);
                    var u1 = Vector512.Load(a1 + i);
                    var u2 = Vector512.Load(a2 + i);
                    var u3 = Vector512.Load(a3 + i);
                    var v = Vector512.Load(b0 + i);
                    s00 = Vector512.FusedMultiplyAdd(u0, v, s00);
                    s10 = Vector512.FusedMultiplyAdd(u1, v, s10);
                    s20 = Vector512.FusedMultiplyAdd(u2, v, s20);
                    s30 = Vector512.FusedMultiplyAdd(u3, v, s30);
                    v = Vector512.Load(b1 + i);
                    s01 = Vector512.FusedMultiplyAdd(u0, v, s01);
                    s11 = Vector512.FusedMultiplyAdd(u1, v, s11);
                    s21 = Vector512.FusedMultiplyAdd(u2, v, s21);
                    s31 = Vector512.FusedMultiplyAdd(u3, v, s31);
                    v = Vector512.Load(b2 + i);
                    s02 = Vector512.FusedMultiplyAdd(u0, v, s02);
                    s12 = Vector512.FusedMultiplyAdd(u1, v, s12);
                    s22 = Vector512.FusedMultiplyAdd(u2, v, s22);
                    s32 = Vector512.FusedMultiplyAdd(u3, v, s32);
                    v = Vector512.Load(b3 + i);
                    s03 = Vector512.FusedMultiplyAdd(u0, v, s03);
                    s13 = Vector512.FusedMultiplyAdd(u1, v, s13);
                    s23 = Vector512.FusedMultiplyAdd(u2, v, s23);
                    s33 = Vector512.FusedMultiplyAdd(u3, v, s33);
                }

                AddSums(sums, s00, s01, s02, s03);
                AddSums(sums + 4, s10, s11, s12, s13);
                AddSums(sums + 8, s20, s21, s22, s23);
                AddSums(sums + 12, s30, s31, s32, s33);
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

    private static unsafe void AddSums(double* to, Vector512<float> a, Vector512<float> b, Vector512<float> c, Vector512<float> d)
    {
        to[0] += Vector512.Sum(a);
        to[1] += Vector512.Sum(b);
        to[2] += Vector512.Sum(c);
        to[3] += Vector512.Sum(d);
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
