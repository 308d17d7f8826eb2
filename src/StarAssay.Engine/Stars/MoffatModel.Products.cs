using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <content>Scalar products of the derivatives and the residual with each other: the normal equations.</content>
internal static partial class MoffatKernel
{
    /// <summary>Columns of the work space: derivatives and the residual.</summary>
    public const int Columns = Moffat.Count + 1;

    /// <summary>All products of two columns; the last one's with itself is chi^2.</summary>
    /// <param name="space">Filled.</param>
    /// <param name="count">Floats of a column that count, a multiple of <see cref="Stamp.Step"/>.</param>
    /// <param name="products">Receives <see cref="Columns"/> x <see cref="Columns"/> numbers.</param>
    public static void Products(Space space, int count, Span<float> products)
    {
        if (!Vector128.IsHardwareAccelerated)
        {
            ProductsScalar(space, count, products);
        }
        else if (Vector512.IsHardwareAccelerated)
        {
            ProductsLanes<Lanes512>(space, count, products);
        }
        else if (Vector256.IsHardwareAccelerated)
        {
            ProductsLanes<Lanes256>(space, count, products);
        }
        else
        {
            ProductsLanes<Lanes128>(space, count, products);
        }
    }

    /// <summary>Square sum of the residuals, each over its standard deviation.</summary>
    public static double ChiSquare(Space space, int count) =>
        System.Numerics.Tensors.TensorPrimitives.SumOfSquares<float>(space.Columns.AsSpan(Moffat.Count * space.Stride, count));

    internal static void ProductsScalar(Space space, int count, Span<float> products)
    {
        for (int a = 0; a < Columns; a++)
        {
            for (int b = 0; b < Columns; b++)
            {
                float sum = 0;
                for (int i = 0; i < count; i++)
                {
                    sum += space.Columns[(a * space.Stride) + i] * space.Columns[(b * space.Stride) + i];
                }

                products[(a * Columns) + b] = sum;
            }
        }
    }

    internal static void ProductsLanes<T>(Space space, int count, Span<float> products)
        where T : struct, ILanes<T>
    {
        for (int a = 0; a < Columns; a += 4)
        {
            for (int b = a; b < Columns; b += 4)
            {
                Tile<T>(space, count, a, b, products);
            }
        }
    }

    /// <summary>Four columns with four: each value is loaded once for four products.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private static void Tile<T>(Space space, int count, int a, int b, Span<float> products)
        where T : struct, ILanes<T>
    {
        nint stride = space.Stride;
        ref float p = ref Unsafe.Add(ref MemoryMarshal.GetArrayDataReference(space.Columns), a * stride);
        ref float q = ref Unsafe.Add(ref MemoryMarshal.GetArrayDataReference(space.Columns), b * stride);
        T s00 = T.Of(0), s01 = s00, s02 = s00, s03 = s00, s10 = s00, s11 = s00, s12 = s00, s13 = s00;
        T s20 = s00, s21 = s00, s22 = s00, s23 = s00, s30 = s00, s31 = s00, s32 = s00, s33 = s00;
        for (nint i = 0; i < count; i += T.Count)
        {
            T q0 = T.Load(ref q, i), q1 = T.Load(ref q, i + stride), q2 = T.Load(ref q, i + (2 * stride)), q3 = T.Load(ref q, i + (3 * stride));
            T v = T.Load(ref p, i);
            s00 = T.MulAdd(v, q0, s00);
            s01 = T.MulAdd(v, q1, s01);
            s02 = T.MulAdd(v, q2, s02);
            s03 = T.MulAdd(v, q3, s03);
            v = T.Load(ref p, i + stride);
            s10 = T.MulAdd(v, q0, s10);
            s11 = T.MulAdd(v, q1, s11);
            s12 = T.MulAdd(v, q2, s12);
            s13 = T.MulAdd(v, q3, s13);
            v = T.Load(ref p, i + (2 * stride));
            s20 = T.MulAdd(v, q0, s20);
            s21 = T.MulAdd(v, q1, s21);
            s22 = T.MulAdd(v, q2, s22);
            s23 = T.MulAdd(v, q3, s23);
            v = T.Load(ref p, i + (3 * stride));
            s30 = T.MulAdd(v, q0, s30);
            s31 = T.MulAdd(v, q1, s31);
            s32 = T.MulAdd(v, q2, s32);
            s33 = T.MulAdd(v, q3, s33);
        }

        ReadOnlySpan<float> sums =
        [
            T.Sum(s00), T.Sum(s01), T.Sum(s02), T.Sum(s03), T.Sum(s10), T.Sum(s11), T.Sum(s12), T.Sum(s13),
            T.Sum(s20), T.Sum(s21), T.Sum(s22), T.Sum(s23), T.Sum(s30), T.Sum(s31), T.Sum(s32), T.Sum(s33),
        ];
        for (int k = 0; k < sums.Length; k++)
        {
            int row = a + (k / 4), column = b + (k % 4);
            products[(row * Columns) + column] = products[(column * Columns) + row] = sums[k];
        }
    }
}
