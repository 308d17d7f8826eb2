using StarAssay.Engine.Results;

namespace StarAssay.Engine.Numerics;

/// <summary>Shares numbered items out among threads, one at a time: none waits while items are left.</summary>
/// <remarks>Parallel.For hands out ranges that grow, so that at the end of some dozens of long items one thread may still have
/// several while the others are idle. Items must be independent; which thread takes one must not show in the result.</remarks>
internal static class Sharing
{
    /// <summary>Runs body(item, worker) for every item from 0 to items - 1.</summary>
    /// <param name="items">How many items.</param>
    /// <param name="context">Threads and cancellation.</param>
    /// <param name="make">Makes what each thread works with.</param>
    /// <param name="body">What to do.</param>
    /// <param name="done">What becomes of it afterwards; not called when something went wrong.</param>
    public static void For<TWorker>(int items, RunContext context, Func<TWorker> make, Action<int, TWorker> body, Action<TWorker>? done = null)
    {
        int threads = Math.Min(context.Threads, items), next = -1;
        void Work(int thread)
        {
            int item = Interlocked.Increment(ref next);
            if (item >= items)
            {
                return;
            }

            TWorker worker = make();
            for (; item < items; item = Interlocked.Increment(ref next))
            {
                context.Cancel.ThrowIfCancellationRequested();
                body(item, worker);
            }

            done?.Invoke(worker);
        }

        if (threads <= 1)
        {
            Work(0);
            return;
        }

        Parallel.For(0, threads, context.Parallel, Work);
    }

    /// <summary>The same without anything to work with.</summary>
    public static void For(int items, RunContext context, Action<int> body) => For<object?>(items, context, static () => null, (item, _) => body(item));
}
