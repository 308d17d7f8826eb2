using System.Runtime.CompilerServices;

namespace StarAssay.Engine.Numerics;

/// <summary>A complex matrix in single precision, real and imaginary parts apart, rows padded to whole vectors.
/// The memory is pinned and aligned to 64 bytes for its whole life.</summary>
internal readonly unsafe struct SplitMatrix
{
    private const int Align = 64 / sizeof(float);

    private readonly float[] re;
    private readonly float[] im;
    private readonly int reOffset;
    private readonly int imOffset;

    /// <summary>A matrix of zeros.</summary>
    /// <param name="rows">Rows.</param>
    /// <param name="columns">Columns; the stride is the next multiple of 16.</param>
    public SplitMatrix(int rows, int columns)
    {
        Rows = rows;
        Stride = Fft.Padded(columns);
        re = Allocate(rows * Stride, out reOffset);
        im = Allocate(rows * Stride, out imOffset);
    }

    /// <summary>A matrix in memory of the right length that is zero and pinned.</summary>
    internal SplitMatrix(int rows, int columns, float[] re, float[] im)
    {
        Rows = rows;
        Stride = Fft.Padded(columns);
        this.re = re;
        this.im = im;
        reOffset = OffsetOf(re);
        imOffset = OffsetOf(im);
    }

    private SplitMatrix(in SplitMatrix other, bool exchange)
    {
        Rows = other.Rows;
        Stride = other.Stride;
        (re, im) = exchange ? (other.im, other.re) : (other.re, other.im);
        (reOffset, imOffset) = exchange ? (other.imOffset, other.reOffset) : (other.reOffset, other.imOffset);
    }

    /// <summary>Rows.</summary>
    public int Rows { get; }

    /// <summary>Floats from one row to the next.</summary>
    public int Stride { get; }

    /// <summary>Real parts.</summary>
    public Span<float> Re => re.AsSpan(reOffset, Rows * Stride);

    /// <summary>Imaginary parts.</summary>
    public Span<float> Im => im.AsSpan(imOffset, Rows * Stride);

    /// <summary>Real parts for 0, imaginary parts for 1.</summary>
    public Span<float> Part(int k) => k == 0 ? Re : Im;

    /// <summary>Address of the real parts.</summary>
    public float* RePointer => (float*)Unsafe.AsPointer(ref re[reOffset]);

    /// <summary>Address of the imaginary parts.</summary>
    public float* ImPointer => (float*)Unsafe.AsPointer(ref im[imOffset]);

    /// <summary>The same memory with the parts exchanged: a forward transform of it is the inverse, exchanged again.</summary>
    public SplitMatrix Exchanged => new(this, true);

    /// <summary>Floats that one part of a matrix needs, alignment included.</summary>
    internal static int LengthFor(int rows, int columns) => (rows * Fft.Padded(columns)) + Align;

    internal static float[] Allocate(int length, out int offset)
    {
        float[] memory = GC.AllocateArray<float>(length + Align, pinned: true);
        offset = OffsetOf(memory);
        return memory;
    }

    private static int OffsetOf(float[] memory)
    {
        nuint address = (nuint)Unsafe.AsPointer(ref memory[0]);
        return (int)((64 - (address & 63)) & 63) / sizeof(float);
    }
}
