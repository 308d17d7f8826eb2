using System.Runtime.CompilerServices;

namespace StarAssay.Engine.Numerics;

/// <summary>One thread's work space for <see cref="Fft"/>: two buffers of n x 16 complex numbers and the addresses of the
/// rows that a pass reads, grown as needed.</summary>
internal sealed unsafe class FftScratch
{
    private float[] memory = [];
    private float[] zeros = [];
    private nuint[] rows = [];
    private int offset;
    private int zerosOffset;
    private int size;
    private (nuint Re, nuint Im, int Stride, int Rows, int Shift, int Points) pointed;

    /// <summary>First buffer: each index holds 16 real parts, then 16 imaginary parts.</summary>
    public float* A => (float*)Unsafe.AsPointer(ref memory[offset]);

    /// <summary>Second buffer.</summary>
    public float* B => A + (size * 2 * Fft.Lanes);

    /// <summary>Addresses of the real parts of each point's row.</summary>
    public float** ReRows => (float**)Unsafe.AsPointer(ref rows[0]);

    /// <summary>Addresses of the imaginary parts of each point's row.</summary>
    public float** ImRows => ReRows + size;

    /// <summary>A row of zeros.</summary>
    public float* Zeros => (float*)Unsafe.AsPointer(ref zeros[zerosOffset]);

    /// <summary>False when the addresses are those of the same rows already.</summary>
    public bool IsNew(in SplitMatrix source, int count, int shift, int points)
    {
        var now = ((nuint)source.RePointer, (nuint)source.ImPointer, source.Stride, count, shift, points);
        bool other = now != pointed;
        pointed = now;
        return other;
    }

    /// <summary>Makes room for transforms of <paramref name="points"/> in a matrix with rows of <paramref name="stride"/>.</summary>
    public void Reserve(int points, int stride)
    {
        if (points > size)
        {
            size = points;
            memory = SplitMatrix.Allocate(points * 4 * Fft.Lanes, out offset);
            rows = GC.AllocateArray<nuint>(2 * points, pinned: true);
            pointed = default;
        }

        if (zeros.Length < stride + Fft.Lanes)
        {
            zeros = SplitMatrix.Allocate(stride, out zerosOffset);
            pointed = default;
        }
    }
}
