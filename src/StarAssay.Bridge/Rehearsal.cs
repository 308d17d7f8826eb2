using System.Reflection;
using System.Text.Json;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge;

/// <summary>Runs a measurement's rehearsal beside what the caller loads meanwhile, and ends it when the first real task comes.</summary>
internal static class Rehearsal
{
    private const string Sample = """{"request": {}, "arrays": [{"name": "a", "dtype": "u2", "shape": [1, 1], "frame": {"label": "a"}}]}""";

    private static CancellationTokenSource? running;

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
        var cancel = new CancellationTokenSource();
        Interlocked.Exchange(ref running, cancel)?.Cancel();
        _ = Task.Run(() => Run(area, cancel.Token));
    }

    /// <summary>Ends it when a measurement begins: from then on the processors have something better to do.</summary>
    /// <param name="task">The task that begins.</param>
    public static void EndFor(string task)
    {
        if (Volatile.Read(ref running) is not null && EngineFunctions.IsMeasurement(task))
        {
            Interlocked.Exchange(ref running, null)?.Cancel();
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
}
