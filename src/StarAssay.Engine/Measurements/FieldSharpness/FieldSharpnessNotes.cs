using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>What measuring the sharpness of the field can have to say.</summary>
[NoteList]
public static class FieldSharpnessNotes
{
    public static readonly NoteDefinition Method = new("field-sharpness.method", NoteLevel.Info, "What the smooth field and its uncertainties rest on.");
    public static readonly NoteDefinition FewStars = new("field-sharpness.few-stars", NoteLevel.Caution,
        "So few stars that the field's shape rests on each of them.");
    public static readonly NoteDefinition FewWhole = new("field-sharpness.crowded", NoteLevel.Caution,
        "Most stars were left out, since others lie within the circle that counts as the whole star.");
    public static readonly NoteDefinition CornersEmpty = new("field-sharpness.corners-empty", NoteLevel.Caution,
        "Stars leave a part of the sensor empty; the field there is extrapolated.");
    public static readonly NoteDefinition Trailing = new("field-sharpness.trailing", NoteLevel.Caution,
        "All stars are drawn out in one direction, which is no property of the field.");
    public static readonly NoteDefinition NotSmooth = new("field-sharpness.not-smooth", NoteLevel.Caution,
        "Sizes scatter about the smooth field by more than their uncertainties.");
    public static readonly NoteDefinition PatternUnlike = new("field-sharpness.pattern-unlike", NoteLevel.Caution,
        "None of the causes looked for describes the field; none is called present or absent.");
    public static readonly NoteDefinition SideNotTold = new("field-sharpness.side-not-told", NoteLevel.Info,
        "One frame cannot tell on which side of focus a blurred part of the sensor lies.");
    public static readonly NoteDefinition Undersampled = new("field-sharpness.undersampled", NoteLevel.Caution,
        "Stars are as small as the pixels, so their width is that of the pixels as much as theirs.");
    public static readonly NoteDefinition SeeingNotGiven = new("field-sharpness.seeing-not-given", NoteLevel.Info,
        "Without the seeing, what is left for the optics cannot be told from the air.");
    public static readonly NoteDefinition BudgetMismatch = new("field-sharpness.budget-mismatch", NoteLevel.Caution,
        "The known causes make more blur than the stars have.");
}
