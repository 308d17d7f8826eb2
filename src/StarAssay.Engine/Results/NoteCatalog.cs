using System.Reflection;

namespace StarAssay.Engine.Results;

/// <summary>Marks a static class whose public static <see cref="NoteDefinition"/> fields belong to the one list of notes.</summary>
[AttributeUsage(AttributeTargets.Class)]
public sealed class NoteListAttribute : Attribute;

/// <summary>
/// The one list of notes. Each measurement declares its own in a class marked
/// <see cref="NoteListAttribute"/>; Python constants, the report's legend and the docs table are read from here.
/// </summary>
public static class NoteCatalog
{
    private static readonly Lazy<IReadOnlyList<NoteDefinition>> Entries = new(Collect);

    /// <summary>Every kind of note, sorted by code.</summary>
    public static IReadOnlyList<NoteDefinition> All => Entries.Value;

    private static NoteDefinition[] Collect() =>
        [.. typeof(NoteCatalog).Assembly.GetTypes()
            .Where(t => t.GetCustomAttribute<NoteListAttribute>() is not null)
            .SelectMany(t => t.GetFields(BindingFlags.Public | BindingFlags.Static))
            .Where(f => f.FieldType == typeof(NoteDefinition))
            .Select(f => (NoteDefinition)f.GetValue(null)!)
            .OrderBy(n => n.Code, StringComparer.Ordinal)];
}
