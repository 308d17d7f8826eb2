namespace StarAssay.Engine.Tests.Architecture;

/// <summary>The engine's namespaces from the ground up: each may use those of lower floors, and itself.</summary>
internal static class Layers
{
    public const string Root = "StarAssay.Engine";

    private static readonly string[][] Floors =
    [
        ["Results"],
        ["Numerics"],
        ["Imaging", "Optics"],
        ["Stars", "Simulation"],
        ["Measurements"],
        ["Decisions"],
    ];

    /// <summary>The first name below the root; empty when the namespace is no part of it.</summary>
    public static string Room(string? space) => Below(space, "");

    /// <summary>The measurement that a namespace belongs to; empty when it belongs to none.</summary>
    public static string Measurement(string? space) => Below(space, ".Measurements");

    /// <summary>Why one namespace may not use the other; null when it may.</summary>
    public static string? Objection(string? from, string? to)
    {
        string user = Room(from), used = Room(to);
        if (user.Length == 0 || used.Length == 0 || from == to)
        {
            return null;
        }

        int floor = Floor(user), below = Floor(used);
        if (floor < 0 || below < 0)
        {
            return $"{(floor < 0 ? user : used)} has no floor; give it one in {nameof(Layers)}";
        }

        if (user != used)
        {
            return below < floor ? null : $"{user} must not use {used}";
        }

        string mine = Measurement(from), other = Measurement(to);
        return mine.Length > 0 && other.Length > 0 && mine != other ? $"measurement {mine} must not use measurement {other}" : null;
    }

    private static int Floor(string room) => Array.FindIndex(Floors, floor => floor.Contains(room));

    private static string Below(string? space, string path)
    {
        string prefix = Root + path + ".";
        return space is not null && space.StartsWith(prefix, StringComparison.Ordinal) ? space[prefix.Length..].Split('.')[0] : "";
    }
}
