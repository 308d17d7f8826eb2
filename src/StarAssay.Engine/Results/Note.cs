namespace StarAssay.Engine.Results;

/// <summary>How much a note should weigh with the reader.</summary>
public enum NoteLevel
{
    /// <summary>Good to know; the numbers stand.</summary>
    Info,

    /// <summary>The numbers stand with a reservation that the text gives.</summary>
    Caution,

    /// <summary>A number must not be used to decide.</summary>
    Doubt,
}

/// <summary>Something the measurement saw that the reader must know.</summary>
/// <param name="Code">Name from the one list, <see cref="NoteCatalog"/>, "area.what".</param>
/// <param name="Level">How much it should weigh.</param>
/// <param name="Subject">File, star or mode it speaks of; empty when it is the whole result.</param>
/// <param name="Text">One sentence for the person at the telescope, with figures and what to do.</param>
public sealed record Note(string Code, NoteLevel Level, string Subject, string Text);

/// <summary>One entry of the list of notes.</summary>
/// <param name="Code">Stable name, "area.what".</param>
/// <param name="Level">Its usual level.</param>
/// <param name="Meaning">One sentence for legends and docs.</param>
public sealed record NoteDefinition(string Code, NoteLevel Level, string Meaning)
{
    /// <summary>A note of this kind.</summary>
    public Note Say(string text, string subject = "") => new(Code, Level, subject, text);
}
