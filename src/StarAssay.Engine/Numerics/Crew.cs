using System.Diagnostics;
using System.Runtime.ExceptionServices;

namespace StarAssay.Engine.Numerics;

/// <summary>
/// Threads that help one caller with numbered items. A fit asks for help thousands of times a second, for a tenth of a
/// millisecond each time, which is about what it takes to wake a sleeping thread; so helpers stay awake for a moment after each
/// round and only then go to sleep, and end when nobody has called for a while.
/// </summary>
/// <param name="helpers">Threads besides the caller's own.</param>
internal sealed class Crew(int helpers)
{
    private static readonly TimeSpan Awake = TimeSpan.FromMicroseconds(200);
    private static readonly TimeSpan UntilTheEnd = TimeSpan.FromMilliseconds(200);

    private readonly Lock starting = new();
    private readonly bool[] alive = new bool[helpers];
    private readonly object bell = new();
    private Action<int, int> body = (_, _) => { };
    private int items;
    private int next;
    private int round;
    private int open;
    private int inside;
    private int asleep;
    private int busy;
    private ExceptionDispatchInfo? failure;

    /// <summary>Runs body(item, worker) for every item from 0 to <paramref name="count"/> - 1; the caller is worker 0.</summary>
    /// <returns>False when a round is already under way: nothing was done.</returns>
    public bool Run(int count, Action<int, int> run)
    {
        if (Interlocked.Exchange(ref busy, 1) != 0)
        {
            return false;
        }

        body = run;
        items = count;
        next = -1;
        failure = null;
        int mine = Interlocked.Increment(ref round);
        Interlocked.Exchange(ref open, mine);
        Wake();
        Take(0);

        // From here no helper enters; those inside finish their item. A helper counts itself in before it looks whether
        // the round is open, so one of the two sees the other.
        Interlocked.Exchange(ref open, 0);
        var wait = default(SpinWait);
        while (Volatile.Read(ref inside) != 0)
        {
            wait.SpinOnce(sleep1Threshold: -1);
        }

        ExceptionDispatchInfo? failed = failure;
        body = (_, _) => { };
        Volatile.Write(ref busy, 0);
        failed?.Throw();
        return true;
    }

    private void Wake()
    {
        if (Volatile.Read(ref asleep) > 0)
        {
            lock (bell)
            {
                Monitor.PulseAll(bell);
            }
        }

        for (int h = 0; h < helpers; h++)
        {
            if (!Volatile.Read(ref alive[h]))
            {
                Start(h);
            }
        }
    }

    private void Start(int helper)
    {
        lock (starting)
        {
            if (!alive[helper])
            {
                Volatile.Write(ref alive[helper], true);
                new Thread(() => Help(helper)) { IsBackground = true, Name = "StarAssay worker" }.Start();
            }
        }
    }

    private void Help(int helper)
    {
        int done = 0;
        while (true)
        {
            int now = Await(done);
            if (now == done)
            {
                lock (starting)
                {
                    if (Volatile.Read(ref round) == done)
                    {
                        Volatile.Write(ref alive[helper], false);
                        return;
                    }
                }

                continue;
            }

            done = now;
            Interlocked.Increment(ref inside);
            if (Volatile.Read(ref open) == done)
            {
                Take(helper + 1);
            }

            Interlocked.Decrement(ref inside);
        }
    }

    // The next round after one, or that one when none came.
    private int Await(int done)
    {
        long since = Stopwatch.GetTimestamp();
        while (Stopwatch.GetElapsedTime(since) < Awake)
        {
            if (Volatile.Read(ref round) != done)
            {
                return Volatile.Read(ref round);
            }

            Thread.SpinWait(10);
        }

        lock (bell)
        {
            // Counted in before it looks a last time: either the caller sees a sleeper or the sleeper the new round.
            Interlocked.Increment(ref asleep);
            if (Volatile.Read(ref round) == done)
            {
                Monitor.Wait(bell, UntilTheEnd);
            }

            Interlocked.Decrement(ref asleep);
        }

        return Volatile.Read(ref round);
    }

    private void Take(int worker)
    {
        try
        {
            for (int i = Interlocked.Increment(ref next); i < items; i = Interlocked.Increment(ref next))
            {
                body(i, worker);
            }
        }
        catch (Exception e)
        {
            Interlocked.CompareExchange(ref failure, ExceptionDispatchInfo.Capture(e), null);
            Volatile.Write(ref next, items);
        }
    }
}
