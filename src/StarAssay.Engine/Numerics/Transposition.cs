using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;
using System.Runtime.Intrinsics.Arm;
using System.Runtime.Intrinsics.X86;

namespace StarAssay.Engine.Numerics;

/// <summary>Rows become columns, in blocks of sixteen by sixteen that never leave the registers where these are wide enough.</summary>
internal static class Transposition
{
    private const int Lanes = 16;

    /// <summary>Transposes a whole matrix.</summary>
    /// <param name="source">First value; rows of a stride that is a multiple of 16.</param>
    /// <param name="sourceStride">Floats from one row to the next.</param>
    /// <param name="rows">Rows, a multiple of 16.</param>
    /// <param name="columns">Columns, a multiple of 16.</param>
    /// <param name="target">Filled: as many rows as the source has columns.</param>
    /// <param name="targetStride">Floats from one row to the next.</param>
    public static unsafe void Whole(float* source, int sourceStride, int rows, int columns, float* target, int targetStride)
    {
        float** points = stackalloc float*[Lanes];
        for (int j = 0; j < rows; j += Lanes)
        {
            for (int i = 0; i < Lanes; i++)
            {
                points[i] = source + ((j + i) * sourceStride);
            }

            for (int c = 0; c < columns; c += Lanes)
            {
                Block(points, c, target + (c * targetStride) + j, targetStride);
            }
        }
    }

    /// <summary>Transposes one block.</summary>
    /// <param name="points">Where the sixteen rows begin.</param>
    /// <param name="offset">First column of the block.</param>
    /// <param name="to">Where the block's first column goes as a row.</param>
    /// <param name="stride">Floats from one row of the target to the next.</param>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static unsafe void Block(float** points, int offset, float* to, int stride)
    {
        if (Avx512F.IsSupported)
        {
            Transpose16(points, offset, to, stride);
        }
        else if (Avx2.IsSupported)
        {
            Transpose8(points, offset, to, stride);
            Transpose8(points, offset + 8, to + (8 * stride), stride);
            Transpose8(points + 8, offset, to + 8, stride);
            Transpose8(points + 8, offset + 8, to + (8 * stride) + 8, stride);
        }
        else
        {
            TransposeBy4(points, offset, to, stride);
        }
    }

    // Inlined, since the runtime compiles a method without loops carelessly until it has seen it often.
    // A 16 x 16 transpose in four rounds: pairs of floats, pairs of doubles, then 128-bit quarters twice. All sixteen rows
    // stay in registers.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static unsafe void Transpose16(float** points, int offset, float* to, int stride)
    {
        (Vector512<float> a0, Vector512<float> a1, Vector512<float> a2, Vector512<float> a3) = Quarter(points, offset);
        (Vector512<float> b0, Vector512<float> b1, Vector512<float> b2, Vector512<float> b3) = Quarter(points + 4, offset);
        (Vector512<float> c0, Vector512<float> c1, Vector512<float> c2, Vector512<float> c3) = Quarter(points + 8, offset);
        (Vector512<float> d0, Vector512<float> d1, Vector512<float> d2, Vector512<float> d3) = Quarter(points + 12, offset);
        Join(a0, b0, c0, d0, to, stride);
        Join(a1, b1, c1, d1, to + stride, stride);
        Join(a2, b2, c2, d2, to + (2 * stride), stride);
        Join(a3, b3, c3, d3, to + (3 * stride), stride);
    }

    // Of four rows: result i holds in its quarter h the four values of column 4h + i.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static unsafe (Vector512<float> First, Vector512<float> Second, Vector512<float> Third, Vector512<float> Fourth) Quarter(float** points, int offset)
    {
        Vector512<float> r0 = Vector512.Load(points[0] + offset);
        Vector512<float> r1 = Vector512.Load(points[1] + offset);
        Vector512<float> r2 = Vector512.Load(points[2] + offset);
        Vector512<float> r3 = Vector512.Load(points[3] + offset);
        Vector512<double> low01 = Avx512F.UnpackLow(r0, r1).AsDouble();
        Vector512<double> high01 = Avx512F.UnpackHigh(r0, r1).AsDouble();
        Vector512<double> low23 = Avx512F.UnpackLow(r2, r3).AsDouble();
        Vector512<double> high23 = Avx512F.UnpackHigh(r2, r3).AsDouble();
        return (Avx512F.UnpackLow(low01, low23).AsSingle(), Avx512F.UnpackHigh(low01, low23).AsSingle(),
            Avx512F.UnpackLow(high01, high23).AsSingle(), Avx512F.UnpackHigh(high01, high23).AsSingle());
    }

    // Quarters of columns i, 4 + i, 8 + i, 12 + i from the four groups of rows become these four rows of the target.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static unsafe void Join(Vector512<float> a, Vector512<float> b, Vector512<float> c, Vector512<float> d, float* to, int stride)
    {
        Vector512<float> p = Avx512F.Shuffle4x128(a, b, 0x88);
        Vector512<float> q = Avx512F.Shuffle4x128(c, d, 0x88);
        Vector512<float> s = Avx512F.Shuffle4x128(a, b, 0xDD);
        Vector512<float> t = Avx512F.Shuffle4x128(c, d, 0xDD);
        Avx512F.Shuffle4x128(p, q, 0x88).Store(to);
        Avx512F.Shuffle4x128(s, t, 0x88).Store(to + (4 * stride));
        Avx512F.Shuffle4x128(p, q, 0xDD).Store(to + (8 * stride));
        Avx512F.Shuffle4x128(s, t, 0xDD).Store(to + (12 * stride));
    }

    // Eight rows of eight in three rounds: pairs of floats, pairs of these, then 128-bit halves.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static unsafe void Transpose8(float** points, int offset, float* to, int stride)
    {
        (Vector256<float> a0, Vector256<float> a1, Vector256<float> a2, Vector256<float> a3) = Half(points, offset);
        (Vector256<float> b0, Vector256<float> b1, Vector256<float> b2, Vector256<float> b3) = Half(points + 4, offset);
        Avx.Permute2x128(a0, b0, 0x20).Store(to);
        Avx.Permute2x128(a1, b1, 0x20).Store(to + stride);
        Avx.Permute2x128(a2, b2, 0x20).Store(to + (2 * stride));
        Avx.Permute2x128(a3, b3, 0x20).Store(to + (3 * stride));
        Avx.Permute2x128(a0, b0, 0x31).Store(to + (4 * stride));
        Avx.Permute2x128(a1, b1, 0x31).Store(to + (5 * stride));
        Avx.Permute2x128(a2, b2, 0x31).Store(to + (6 * stride));
        Avx.Permute2x128(a3, b3, 0x31).Store(to + (7 * stride));
    }

    // Of four rows: result i holds in its half h the four values of column 4h + i.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static unsafe (Vector256<float> First, Vector256<float> Second, Vector256<float> Third, Vector256<float> Fourth) Half(float** points, int offset)
    {
        Vector256<float> r0 = Vector256.Load(points[0] + offset);
        Vector256<float> r1 = Vector256.Load(points[1] + offset);
        Vector256<float> r2 = Vector256.Load(points[2] + offset);
        Vector256<float> r3 = Vector256.Load(points[3] + offset);
        Vector256<double> low01 = Avx.UnpackLow(r0, r1).AsDouble();
        Vector256<double> high01 = Avx.UnpackHigh(r0, r1).AsDouble();
        Vector256<double> low23 = Avx.UnpackLow(r2, r3).AsDouble();
        Vector256<double> high23 = Avx.UnpackHigh(r2, r3).AsDouble();
        return (Avx.UnpackLow(low01, low23).AsSingle(), Avx.UnpackHigh(low01, low23).AsSingle(),
            Avx.UnpackLow(high01, high23).AsSingle(), Avx.UnpackHigh(high01, high23).AsSingle());
    }

    // The same in blocks of 4 x 4, for narrower vectors.
    private static unsafe void TransposeBy4(float** points, int offset, float* to, int stride)
    {
        for (int g = 0; g < Lanes; g += 4)
        {
            for (int c = 0; c < Lanes; c += 4)
            {
                Vector128<float> r0 = Vector128.Load(points[g] + offset + c);
                Vector128<float> r1 = Vector128.Load(points[g + 1] + offset + c);
                Vector128<float> r2 = Vector128.Load(points[g + 2] + offset + c);
                Vector128<float> r3 = Vector128.Load(points[g + 3] + offset + c);
                (Vector128<float> low02, Vector128<float> high02) = Zip(r0, r2);
                (Vector128<float> low13, Vector128<float> high13) = Zip(r1, r3);
                (Vector128<float> c0, Vector128<float> c1) = Zip(low02, low13);
                (Vector128<float> c2, Vector128<float> c3) = Zip(high02, high13);
                float* at = to + (c * stride) + g;
                c0.Store(at);
                c1.Store(at + stride);
                c2.Store(at + (2 * stride));
                c3.Store(at + (3 * stride));
            }
        }
    }

    // a0 b0 a1 b1 and a2 b2 a3 b3.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static (Vector128<float> Low, Vector128<float> High) Zip(Vector128<float> a, Vector128<float> b)
    {
        if (Sse.IsSupported)
        {
            return (Sse.UnpackLow(a, b), Sse.UnpackHigh(a, b));
        }

        if (AdvSimd.Arm64.IsSupported)
        {
            return (AdvSimd.Arm64.ZipLow(a, b), AdvSimd.Arm64.ZipHigh(a, b));
        }

        return (Vector128.Create(a[0], b[0], a[1], b[1]), Vector128.Create(a[2], b[2], a[3], b[3]));
    }
}
