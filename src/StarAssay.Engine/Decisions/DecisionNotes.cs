using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>Notes that decisions and advice make.</summary>
[NoteList]
public static class DecisionNotes
{
    /// <summary>Repeated measurements differ too much.</summary>
    public static readonly NoteDefinition Scatter = new("decision.scatter", NoteLevel.Caution,
        "Repeated measurements scatter more than their uncertainties promise; the uncertainty was taken from the scatter.");

    /// <summary>The number must not be used to decide.</summary>
    public static readonly NoteDefinition Doubtful = new("decision.doubtful", NoteLevel.Doubt,
        "A doubt stands against the measured number, so nothing was decided from it.");

    /// <summary>Stated and measured conditions differ.</summary>
    public static readonly NoteDefinition OtherConditions = new("decision.other-conditions", NoteLevel.Doubt,
        "The claim holds under other conditions than those of the measurement, so nothing was decided.");

    /// <summary>The frames of one entry span more than a season.</summary>
    public static readonly NoteDefinition FramesFarApart = new("decision.frames-far-apart", NoteLevel.Doubt,
        "The frames of one entry were taken months apart: they need not show one state of the telescope.");

    /// <summary>The tolerance is narrower than the uncertainty.</summary>
    public static readonly NoteDefinition TooNarrow = new("decision.too-narrow", NoteLevel.Caution,
        "The range allowed is narrower than twice the guard band: this measurement can never show that the claim is met.");

    /// <summary>The blur parts do not add up.</summary>
    public static readonly NoteDefinition BlurMismatch = new("advice.blur-mismatch", NoteLevel.Caution,
        "Diffraction, optics, seeing and pixels together explain more blur than the stars show, so the parts are only rough.");
}
