namespace StarAssay.Engine.Results;

/// <summary>How one bit of a flags enumeration is called; what it means is its XML summary.</summary>
/// <param name="name">A few words for tables, for example "cosmic ray".</param>
[AttributeUsage(AttributeTargets.Field)]
public sealed class FlagAttribute(string name) : Attribute
{
    /// <summary>The words.</summary>
    public string Name { get; } = name;
}
