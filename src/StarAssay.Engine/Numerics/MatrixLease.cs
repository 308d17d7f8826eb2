using System.Collections.Concurrent;

namespace StarAssay.Engine.Numerics;

/// <summary>
/// Memory of the matrices that one owner uses and gives back together. Large pinned arrays are dear to make (the system
/// clears every page, the collector walks the whole heap for them), and one fit after another asks for the same sizes.
/// </summary>
/// <remarks>What is handed out is always zero, so nothing of an earlier use can reach a result.</remarks>
internal sealed class MatrixLease : IDisposable
{
    private const long MostFloats = 64L << 20;

    private static readonly ConcurrentDictionary<int, ConcurrentBag<float[]>> Shelf = new();
    private static long shelved;

    private readonly List<float[]> held = [];
    private bool given;

    /// <summary>A matrix of zeros that lives until the lease ends.</summary>
    public SplitMatrix Matrix(int rows, int columns)
    {
        ObjectDisposedException.ThrowIf(given, this);
        int length = SplitMatrix.LengthFor(rows, columns);
        return new SplitMatrix(rows, columns, Take(length), Take(length));
    }

    /// <summary>A row of zeros that lives until the lease ends.</summary>
    public float[] Floats(int length) => Take(length);

    /// <inheritdoc/>
    public void Dispose()
    {
        if (given)
        {
            return;
        }

        given = true;
        foreach (float[] array in held)
        {
            if (Interlocked.Add(ref shelved, array.Length) <= MostFloats)
            {
                Shelf.GetOrAdd(array.Length, _ => []).Add(array);
            }
            else
            {
                Interlocked.Add(ref shelved, -array.Length);
            }
        }

        held.Clear();
    }

    private float[] Take(int length)
    {
        float[] array;
        if (Shelf.TryGetValue(length, out ConcurrentBag<float[]>? bag) && bag.TryTake(out float[]? used))
        {
            Interlocked.Add(ref shelved, -length);
            array = used;
            Array.Clear(array);
        }
        else
        {
            array = GC.AllocateArray<float>(length, pinned: true);
        }

        lock (held)
        {
            held.Add(array);
        }

        return array;
    }
}
