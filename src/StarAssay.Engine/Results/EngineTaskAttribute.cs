namespace StarAssay.Engine.Results;

/// <summary>
/// Names a pure function that other languages may call: a static method that takes a request record (or none) and a
/// <see cref="RunContext"/> (or none) and returns a result record. Whoever offers the engine to others finds these by
/// themselves and hands their description over; nothing is listed a second time.
/// </summary>
/// <remarks>Properties of the request that hold a <c>Frame</c>, a list of frames, an array handed over in place
/// (<see cref="ReadOnlyMemory{T}"/>) or an array to be filled (<see cref="Memory{T}"/>) carry
/// <see cref="HandedOverAttribute"/>; all others are plain data.</remarks>
/// <param name="name">"area.verb".</param>
[AttributeUsage(AttributeTargets.Method)]
public sealed class EngineTaskAttribute(string name) : Attribute
{
    /// <summary>The task's name.</summary>
    public string Name { get; } = name;
}

/// <summary>Marks the function that makes a measurement: its result implements <see cref="IMeasurementResult"/>.</summary>
/// <param name="area">The measurement's one name; its task is "area.measure".</param>
/// <param name="title">Its name in sentences.</param>
[AttributeUsage(AttributeTargets.Method)]
public sealed class MeasurementAttribute(string area, string title) : Attribute
{
    /// <summary>Its task's name.</summary>
    public string Name => Area + ".measure";

    /// <summary>The measurement's one name.</summary>
    public string Area { get; } = area;

    /// <summary>Its name in sentences.</summary>
    public string Title { get; } = title;
}

/// <summary>Marks what the caller hands over beside the plain data of a request: frames and arrays, seen in place.</summary>
/// <param name="name">Name under which it is handed over; of a list of frames the beginning of "frame0", "frame1", ...</param>
[AttributeUsage(AttributeTargets.Property)]
public sealed class HandedOverAttribute(string name) : Attribute
{
    /// <summary>The name.</summary>
    public string Name { get; } = name;
}
