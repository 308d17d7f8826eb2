using System.Reflection;
using System.Text.Json;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge;

/// <summary>Runs a measurement's rehearsal beside what the caller loads meanwhile, and ends it when the measurement itself comes.</summary>
internal static class Rehearsal
{
    private const string Sample = """{"request": {}, "arrays": [{"name": "a", "dtype": "u2", "shape": [1, 1], "frame": {"label": "a"}}]}""";

    private static Running? now;

    /// <summary>Every marked function with its measurement's name.</summary>
    public static IEnumerable<(string Area, MethodInfo Method)> All =>
        from type in typeof(RehearsalAttribute).Assembly.GetTypes()
        from method in type.GetMethods(BindingFlags.Public | BindingFlags.Static | BindingFlags.DeclaredOnly)
        let mark = method.GetCustomAttribute<RehearsalAttribute>()
        where mark is not null
        orderby mark.Area
        select (mark.Area, method);

    /// <summary>Begins; does nothing for a measurement without a rehearsal.</summary>
    /// <param name="area">The measurement's one name.</param>
    public static void Begin(string area)
    {
        var next = new Running(new MeasurementAttribute(area, string.Empty).Name, new CancellationTokenSource());
        Interlocked.Exchange(ref now, next)?.Stop.Cancel();
        _ = Task.Run(() => Run(area, next.Stop.Token));
    }

    /// <summary>Ends it when what it rehearses begins: from then on the processors have something better to do.</summary>
    /// <param name="task">The task that begins.</param>
    public static void EndFor(string task)
    {
        Running? one = Volatile.Read(ref now);
        if (one?.Task == task && Interlocked.CompareExchange(ref now, null, one) == one)
        {
            one.Stop.Cancel();
        }
    }

    private static void Run(string area, CancellationToken cancel)
    {
        try
        {
            // What reads a call and what finds its task is needed first.
            _ = JsonSerializer.Deserialize<Call>(Sample, Json.Options);
            _ = TaskTable.Names;
            if (All.FirstOrDefault(one => one.Area == area).Method is MethodInfo method)
            {
                // One thread: the other processor loads libraries.
                object result = method.Invoke(null, [new RunContext(1, null, cancel)])!;
                _ = new ResultWriter().Write(result);
            }
        }
        catch (TargetInvocationException)
        {
            // Stopped, or a fault that the real measurement will meet and tell.
        }
    }

    /// <summary>What runs.</summary>
    /// <param name="Task">Name of the task that is rehearsed.</param>
    /// <param name="Stop">Ends it.</param>
    private sealed record Running(string Task, CancellationTokenSource Stop);
}
