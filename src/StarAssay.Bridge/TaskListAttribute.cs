namespace StarAssay.Bridge;

/// <summary>
/// Marks a static class whose methods are tasks that Python can start: each carries
/// <see cref="Engine.Results.EngineTaskAttribute"/>, takes (<see cref="TaskInput"/>, <see cref="Engine.Results.RunContext"/>)
/// and returns a result record.
/// </summary>
[AttributeUsage(AttributeTargets.Class)]
public sealed class TaskListAttribute : Attribute;
