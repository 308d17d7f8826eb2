using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Numerics;

/// <summary>
/// Two-dimensional Fourier transforms of one size n x n in single precision, with real and imaginary parts in separate
/// arrays and with the rows and columns that are zero, or not wanted, left out.
/// </summary>
/// <remarks>
/// <para>A transform is two passes. A pass transforms the columns of a matrix along its rows and stores them as rows, so
/// that two passes restore the orientation. Sixteen columns fill one vector, and every butterfly works on sixteen
/// transforms at once: no shuffling inside a transform, and any radix is as easy as another.</para>
/// <para>A pass is told how many rows hold data and at which index the first of them stands, and which outputs are wanted:
/// that is both the pruning and the move of the origin to the middle. Outputs follow exp(-2 pi i jk/n), unscaled. For the
/// inverse hand the two parts over exchanged.</para>
/// <para>Why an own transform: docs/decisions/0004-own-fourier-transform.md. The scalar twin in double precision is
/// <see cref="FftScalar"/>; single precision differs from it by about 2e-7 of the largest output.</para>
/// </remarks>
internal sealed partial class Fft
{
    /// <summary>Columns handled together; strides of all arrays are multiples of it.</summary>
    public const int Lanes = 16;

    private static readonly int[] Radices = [8, 6, 4, 3, 2];

    private readonly int[] radices;
    private readonly float[][] twiddles;

    /// <summary>Prepares transforms of one size.</summary>
    /// <param name="size">Product of powers of two and three, at least 16.</param>
    public Fft(int size)
    {
        if (!IsGood(size))
        {
            throw new InputException("fft.size", $"A transform of {size} points is not offered; sizes are 2^a 3^b, at least 16 and divisible by 4.", "size");
        }

        Size = size;
        radices = Factor(size);
        twiddles = new float[radices.Length][];
        int now = size;
        for (int s = 0; s < radices.Length; s++)
        {
            int r = radices[s];
            int m = now / r;
            float[] table = new float[2 * m * (r - 1)];
            for (int p = 0; p < m; p++)
            {
                for (int k = 1; k < r; k++)
                {
                    (double sin, double cos) = Math.SinCos(-2 * Math.PI * p * k / now);
                    table[2 * ((p * (r - 1)) + k - 1)] = (float)cos;
                    table[(2 * ((p * (r - 1)) + k - 1)) + 1] = (float)sin;
                }
            }

            twiddles[s] = table;
            now = m;
        }
    }

    /// <summary>Points along each axis.</summary>
    public int Size { get; }

    /// <summary>Smallest size on offer that is at least <paramref name="atLeast"/> and a multiple of <paramref name="multipleOf"/>.</summary>
    public static int GoodSize(int atLeast, int multipleOf = 1)
    {
        int n = Math.Max(16, atLeast);
        while (!IsGood(n) || n % multipleOf != 0)
        {
            n++;
        }

        return n;
    }

    /// <summary>Smallest multiple of <see cref="Lanes"/> that is at least <paramref name="n"/>: the stride for n columns.</summary>
    public static int Padded(int n) => (n + Lanes - 1) / Lanes * Lanes;

    /// <summary>
    /// Transforms columns along their rows and stores each column as a row.
    /// </summary>
    /// <param name="source">Matrix to read.</param>
    /// <param name="rows">Rows that hold data; the others count as zero.</param>
    /// <param name="rowShift">Index of the first of them, modulo n.</param>
    /// <param name="target">Matrix to write: row c holds the transform of column c.</param>
    /// <param name="first">Index of the first output wanted, modulo n.</param>
    /// <param name="count">Outputs wanted.</param>
    /// <param name="columnBegin">First column, a multiple of <see cref="Lanes"/>.</param>
    /// <param name="columnEnd">Last column, excluded.</param>
    /// <param name="scratch">This thread's work space.</param>
    /// <param name="targetBegin">Row of the target for the first column; the column's own number by default.</param>
    public unsafe void Pass(in SplitMatrix source, int rows, int rowShift, in SplitMatrix target, int first, int count,
        int columnBegin, int columnEnd, FftScratch scratch, int targetBegin = -1)
    {
        targetBegin = targetBegin < 0 ? columnBegin : targetBegin;
        RequireFit(source, target, rows, count, columnBegin, columnEnd, targetBegin);
        scratch.Reserve(Size, source.Stride);
        Point(source, rows, rowShift, scratch);
        for (int c = columnBegin; c < columnEnd; c += Lanes)
        {
            float* done = Vector512.IsHardwareAccelerated ? Stages<Lanes512>(c, scratch)
                : Vector256.IsHardwareAccelerated ? Stages<Lanes256>(c, scratch)
                : Stages<Lanes128>(c, scratch);
            Store(done, target, targetBegin + c - columnBegin, Math.Min(Lanes, columnEnd - c), first, count);
        }
    }

    // All stages for sixteen columns; where the transforms stand at the end.
    private unsafe float* Stages<T>(int column, FftScratch scratch)
        where T : struct, ILanes<T>
    {
        float* from = scratch.A;
        float* to = scratch.B;
        int r = radices[0];
        int now = Size / r;
        int stride = r;
        fixed (float* w = twiddles[0])
        {
            for (int lane = 0; lane < Lanes; lane += T.Count)
            {
                Stage<T, MatrixRows<T>>(r, now, 1, w, new MatrixRows<T>(scratch.ReRows, scratch.ImRows, column + lane), from + lane);
            }
        }

        for (int s = 1; s < radices.Length; s++)
        {
            r = radices[s];
            fixed (float* w = twiddles[s])
            {
                for (int lane = 0; lane < Lanes; lane += T.Count)
                {
                    Stage<T, Buffer<T>>(r, now / r, stride, w, new Buffer<T>(from + lane), to + lane);
                }
            }

            now /= r;
            stride *= r;
            float* swap = from;
            from = to;
            to = swap;
        }

        return from;
    }

    private static bool IsGood(int n)
    {
        if (n < 16 || n % 4 != 0)
        {
            return false;
        }

        while (n % 2 == 0)
        {
            n /= 2;
        }

        while (n % 3 == 0)
        {
            n /= 3;
        }

        return n == 1;
    }

    // As few stages as can be, since each takes the work space through the cache: 384 is 8 x 8 x 6, not 8 x 4 x 4 x 3.
    private static int[] Factor(int n)
    {
        if (n == 1)
        {
            return [];
        }

        int[]? best = null;
        foreach (int radix in Radices)
        {
            if (n % radix == 0 && Factor(n / radix) is { } rest && (best is null || rest.Length + 1 < best.Length))
            {
                best = [radix, .. rest];
            }
        }

        return best!;
    }

    private void RequireFit(in SplitMatrix source, in SplitMatrix target, int rows, int count, int columnBegin, int columnEnd, int targetBegin)
    {
        bool fits = rows >= 0 && rows <= Size && count >= 0 && count <= Size && columnBegin >= 0 && columnBegin % Lanes == 0
            && columnEnd >= columnBegin && Padded(columnEnd) <= source.Stride && rows <= source.Rows
            && Padded(count) <= target.Stride && targetBegin + columnEnd - columnBegin <= target.Rows;
        if (!fits)
        {
            throw new ArgumentException(
                $"A pass of size {Size} over columns {columnBegin}..{columnEnd}, {rows} rows in, {count} out does not fit matrices of {source.Rows} x " +
                    $"{source.Stride} and {target.Rows} x {target.Stride}.");
        }
    }
}
