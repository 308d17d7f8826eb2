using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ComaAxis;

/// <summary>What looking for the coma-free axis can have to say.</summary>
[NoteList]
public static class ComaAxisNotes
{
    public static readonly NoteDefinition Method = new("coma-axis.method", NoteLevel.Info, "What the place and its uncertainty rest on.");
    public static readonly NoteDefinition NotTold = new("coma-axis.not-told", NoteLevel.Info, "Why no place is told.");
    public static readonly NoteDefinition NotParaboloid = new("coma-axis.not-paraboloid", NoteLevel.Caution,
        "Coma does not grow over the field as that of a single paraboloid.");
    public static readonly NoteDefinition NotLinear = new("coma-axis.not-linear", NoteLevel.Doubt,
        "The stars' coma does not follow the law of third-order aberrations.");
    public static readonly NoteDefinition Scatter = new("coma-axis.scatter", NoteLevel.Caution,
        "The stars scatter about the law by more than their uncertainties; the bars hold it.");
    public static readonly NoteDefinition Few = new("coma-axis.few-stars", NoteLevel.Caution,
        "So few stars that the law can hardly be checked.");
    public static readonly NoteDefinition DoubtfulStar = new("coma-axis.doubtful-star", NoteLevel.Caution,
        "Stars whose own alignment is in doubt were left out.");
    public static readonly NoteDefinition FarOff = new("coma-axis.far-off", NoteLevel.Caution,
        "A star whose coma lies far off the law of the others was left out.");
    public static readonly NoteDefinition LeftOut = new("coma-axis.left-out", NoteLevel.Info, "Stars that were not measured.");
    public static readonly NoteDefinition Turning = new("coma-axis.turning", NoteLevel.Info, "What to know before screws are turned.");
}
