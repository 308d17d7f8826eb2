namespace StarAssay.Bridge;

/// <summary>Marks a static class whose methods are tasks that Python can start.</summary>
[AttributeUsage(AttributeTargets.Class)]
public sealed class TaskListAttribute : Attribute;

/// <summary>
/// Names a task. The method takes (<see cref="TaskInput"/>, <see cref="Engine.Results.RunContext"/>) and returns a
/// result record.
/// </summary>
/// <param name="name">"area.verb", for example "stars.measure".</param>
[AttributeUsage(AttributeTargets.Method)]
public sealed class EngineTaskAttribute(string name) : Attribute
{
    /// <summary>The task's name.</summary>
    public string Name { get; } = name;
}
