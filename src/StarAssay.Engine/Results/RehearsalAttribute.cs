namespace StarAssay.Engine.Results;

/// <summary>
/// Marks a function that makes one measurement on a small drawn frame. Its numbers are of no use: it is run beside what the
/// caller has to load before the first frame is there, so that the runtime has compiled by then what the measurement needs.
/// </summary>
/// <param name="area">The measurement's one name.</param>
[AttributeUsage(AttributeTargets.Method)]
public sealed class RehearsalAttribute(string area) : Attribute
{
    /// <summary>The measurement's one name.</summary>
    public string Area { get; } = area;
}
