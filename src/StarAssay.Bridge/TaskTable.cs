using System.Collections.Frozen;
using System.Reflection;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge;

/// <summary>All tasks by name, collected once: the engine's own functions, and those of the classes marked
/// <see cref="TaskListAttribute"/>, which do more than hand a request over.</summary>
internal static class TaskTable
{
    private static readonly Lazy<FrozenDictionary<string, Func<TaskInput, RunContext, object>>> Tasks = new(Collect);

    public static IReadOnlyList<string> Names => [.. Tasks.Value.Keys.Order(StringComparer.Ordinal)];

    public static Func<TaskInput, RunContext, object> Find(string name) =>
        Tasks.Value.TryGetValue(name, out Func<TaskInput, RunContext, object>? task)
            ? task
            : throw new InputException("gateway.task", $"The engine has no task named '{name}'. Face and engine may come from different builds: install " +
                "StarAssay again.", "task");

    private static FrozenDictionary<string, Func<TaskInput, RunContext, object>> Collect()
    {
        var pairs =
            from type in typeof(TaskTable).Assembly.GetTypes()
            where type.GetCustomAttribute<TaskListAttribute>() is not null
            from method in type.GetMethods(BindingFlags.Public | BindingFlags.NonPublic | BindingFlags.Static)
            let mark = method.GetCustomAttribute<EngineTaskAttribute>()
            where mark is not null
            select KeyValuePair.Create(mark.Name, method.CreateDelegate<Func<TaskInput, RunContext, object>>());
        return pairs
            .Concat(EngineFunctions.All.Select(f => KeyValuePair.Create(f.Name, EngineFunctions.AsTask(f.Method))))
            .ToFrozenDictionary(StringComparer.Ordinal);
    }
}
