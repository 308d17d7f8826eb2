using System.Runtime.CompilerServices;

namespace StarAssay.Engine.Numerics;

/// <summary>One thread's work space for <see cref="Fft"/>: two buffers of n x 16 complex numbers, grown as needed.</summary>
internal sealed unsafe class FftScratch
{
    private float[] memory = [];
    private int offset;
    private int size;

    /// <summary>First buffer: each index holds 16 real parts, then 16 imaginary parts.</summary>
    public float* A => (float*)Unsafe.AsPointer(ref memory[offset]);

    /// <summary>Second buffer.</summary>
    public float* B => A + (size * 2 * Fft.Lanes);

    /// <summary>Makes room for transforms of <paramref name="points"/>.</summary>
    public void Reserve(int points)
    {
        if (points > size)
        {
            size = points;
            memory = SplitMatrix.Allocate(points * 4 * Fft.Lanes, out offset);
        }
    }
}
