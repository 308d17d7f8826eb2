using System.Text.Json;

namespace StarAssay.Bridge;

/// <summary>What Python says of a task beside its name.</summary>
internal sealed record Call
{
    /// <summary>The request record.</summary>
    public required JsonElement Request { get; init; }

    /// <summary>The arrays that come with it.</summary>
    public required IReadOnlyList<ArraySpec> Arrays { get; init; }
}
