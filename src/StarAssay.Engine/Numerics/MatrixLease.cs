using System.Collections.Concurrent;

namespace StarAssay.Engine.Numerics;

/// <summary>
/// Memory of the matrices that one owner uses and gives back together. Large pinned arrays are dear to make (the system
/// clears every page, the collector walks the whole heap for them), and one fit after another asks for the same sizes.
/// </summary>
/// <remarks>What is handed out is zero unless somebody says that he fills all of it before he reads, so nothing of an earlier use can
/// reach a result.</remarks>
internal sealed class MatrixLease : IDisposable
{
    private const long MostFloats = 64L << 20;

    private static readonly ConcurrentDictionary<int, ConcurrentBag<float[]>> Shelf = new();
    private static long shelved;

    private readonly List<float[]> held = [];
    private bool given;

    /// <summary>A matrix that lives until the lease ends.</summary>
    /// <param name="rows">Rows.</param>
    /// <param name="columns">Columns.</param>
    /// <param name="clear">False: all of it will be written before it is read, so it need not be zero.</param>
    public SplitMatrix Matrix(int rows, int columns, bool clear = true)
    {
        ObjectDisposedException.ThrowIf(given, this);
        int length = SplitMatrix.LengthFor(rows, columns);
        return new SplitMatrix(rows, columns, Take(length, clear), Take(length, clear));
    }

    /// <summary>A row that lives until the lease ends.</summary>
    /// <param name="length">Values.</param>
    /// <param name="clear">As in <see cref="Matrix"/>.</param>
    public float[] Floats(int length, bool clear = true) => Take(length, clear);

    /// <inheritdoc/>
    public void Dispose()
    {
        if (given)
        {
            return;
        }

        given = true;
        lock (Shelf)
        {
            // Sizes that earlier owners used must not keep those from the shelf that are used now.
            if (Interlocked.Read(ref shelved) + held.Sum(a => (long)a.Length) > MostFloats)
            {
                Forget();
            }

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
        }

        held.Clear();
    }

    private static void Forget()
    {
        foreach ((int length, ConcurrentBag<float[]> bag) in Shelf)
        {
            while (bag.TryTake(out _))
            {
                Interlocked.Add(ref shelved, -length);
            }
        }
    }

    private float[] Take(int length, bool clear)
    {
        float[] array;
        if (Shelf.TryGetValue(length, out ConcurrentBag<float[]>? bag) && bag.TryTake(out float[]? used))
        {
            Interlocked.Add(ref shelved, -length);
            array = used;
            if (clear)
            {
                Array.Clear(array);
            }
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
