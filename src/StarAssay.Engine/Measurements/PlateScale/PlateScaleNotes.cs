using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.PlateScale;

/// <summary>What measuring the plate scale can have to say.</summary>
[NoteList]
public static class PlateScaleNotes
{
    public static readonly NoteDefinition FromList = new("plate-scale.from-list", NoteLevel.Info,
        "The geometry comes from a list of stars with known sky positions.");
    public static readonly NoteDefinition FromSolution = new("plate-scale.from-solution", NoteLevel.Caution,
        "The geometry comes from the frame's celestial solution, whose own uncertainty is not known.");
    public static readonly NoteDefinition WrongMatches = new("plate-scale.wrong-matches", NoteLevel.Info,
        "Some stars do not stand where their sky positions put them; they were left out.");
    public static readonly NoteDefinition ManyWrongMatches = new("plate-scale.many-wrong-matches", NoteLevel.Caution,
        "More than a fifth of the stars were left out as wrong matches.");
    public static readonly NoteDefinition FewStars = new("plate-scale.few-stars", NoteLevel.Caution,
        "So few stars that not every order of the distortion could be fitted.");
    public static readonly NoteDefinition NoDistortion = new("plate-scale.no-distortion", NoteLevel.Caution,
        "Too few stars, or too near to the center, to tell distortion from focal length.");
    public static readonly NoteDefinition CornersEmpty = new("plate-scale.corners-empty", NoteLevel.Caution,
        "No star near the corners; distortion there is extrapolated.");
    public static readonly NoteDefinition NotRadial = new("plate-scale.not-radial", NoteLevel.Caution,
        "The celestial solution bends the field otherwise than the distortion of a lens.");
    public static readonly NoteDefinition Scatter = new("plate-scale.scatter", NoteLevel.Info,
        "Stars scatter by more than their own uncertainties; the difference was added to them.");
    public static readonly NoteDefinition PitchNominal = new("plate-scale.pitch-nominal", NoteLevel.Info,
        "The pixel pitch is nominal and taken as known to 0.1 %.");
    public static readonly NoteDefinition Refraction = new("plate-scale.refraction", NoteLevel.Info,
        "Refraction by the air shrinks the field by 0.03 to 0.07 %; 0.05 % is in the common part of the uncertainty.");
    public static readonly NoteDefinition NotSquare = new("plate-scale.not-square", NoteLevel.Caution,
        "The scale differs with the direction by more than its uncertainty.");
}
