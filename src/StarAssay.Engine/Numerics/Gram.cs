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

    private static void Tile(float[][] rows, int i0, int j0, double[,] result)
    {
        int n = rows.Length;
        int length = rows[0].Length;
        ReadOnlySpan<float> a0 = rows[i0];
        ReadOnlySpan<float> a1 = rows[Math.Min(i0 + 1, n - 1)];
        ReadOnlySpan<float> a2 = rows[Math.Min(i0 + 2, n - 1)];
        ReadOnlySpan<float> a3 = rows[Math.Min(i0 + 3, n - 1)];
        for (int j = j0; j < Math.Min(j0 + 4, n); j++)
        {
            ReadOnlySpan<float> b = rows[j];
            double t0 = 0;
            double t1 = 0;
            double t2 = 0;
            double t3 = 0;
            for (int begin = 0; begin < length; begin += Chunk)
            {
                Vector512<float> s0 = Vector512<float>.Zero;
                Vector512<float> s1 = s0;
                Vector512<float> s2 = s0;
                Vector512<float> s3 = s0;
                int end = Math.Min(length, begin + Chunk);
                for (int i = begin; i < end; i += Fft.Lanes)
                {
                    Vector512<float> v = Vector512.Create(b.Slice(i, Fft.Lanes));
                    s0 = Vector512.FusedMultiplyAdd(Vector512.Create(a0.Slice(i, Fft.Lanes)), v, s0);
                    s1 = Vector512.FusedMultiplyAdd(Vector512.Create(a1.Slice(i, Fft.Lanes)), v, s1);
                    s2 = Vector512.FusedMultiplyAdd(Vector512.Create(a2.Slice(i, Fft.Lanes)), v, s2);
                    s3 = Vector512.FusedMultiplyAdd(Vector512.Create(a3.Slice(i, Fft.Lanes)), v, s3);
                }

                t0 += Vector512.Sum(s0);
                t1 += Vector512.Sum(s1);
                t2 += Vector512.Sum(s2);
                t3 += Vector512.Sum(s3);
            }

            Put(result, i0, j, t0);
            Put(result, i0 + 1, j, t1);
            Put(result, i0 + 2, j, t2);
            Put(result, i0 + 3, j, t3);
        }
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
