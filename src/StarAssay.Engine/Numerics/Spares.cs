using System.Collections.Concurrent;

namespace StarAssay.Engine.Numerics;

/// <summary>Keeps work spaces from one call to the next: fresh memory costs a page fault every 4 KiB, and a frame is measured in the time
/// of some thousands of them.</summary>
/// <typeparam name="T">The work space.</typeparam>
/// <param name="fits">Whether a kept one serves the size asked for; one that does not is let go.</param>
/// <param name="make">Makes one of a size.</param>
internal sealed class Spares<T>(Func<T, int, bool> fits, Func<int, T> make)
    where T : class
{
    private readonly ConcurrentStack<T> kept = new();

    /// <summary>A work space of that size, with whatever it was left with.</summary>
    public T Take(int size)
    {
        while (kept.TryPop(out T? spare))
        {
            if (fits(spare, size))
            {
                return spare;
            }
        }

        return make(size);
    }

    /// <summary>Gives it back; no more are kept than processors can use.</summary>
    public void GiveBack(T space)
    {
        if (kept.Count < Environment.ProcessorCount)
        {
            kept.Push(space);
        }
    }
}
