using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Reflections;

/// <summary>What measuring a photo of reflections can have to say.</summary>
[NoteList]
public static class ReflectionsNotes
{
    public static readonly NoteDefinition Method = new("reflections.method", NoteLevel.Info, "What middles and uncertainties rest on.");
    public static readonly NoteDefinition Caution = new("reflections.caution", NoteLevel.Info, "What to know before looking in and before screws are turned.");
    public static readonly NoteDefinition Roles = new("reflections.roles", NoteLevel.Info, "It was not said which circle is what.");
    public static readonly NoteDefinition Geometry = new("reflections.geometry", NoteLevel.Info, "What the tilts rest on.");
    public static readonly NoteDefinition Distortion = new(
        "reflections.distortion", NoteLevel.Info, "The distortion of the camera's lens is not known; the bars hold it.");
    public static readonly NoteDefinition Field = new(
        "reflections.field", NoteLevel.Info, "The camera's angle of view is not known; the bars hold what perspective may do.");
    public static readonly NoteDefinition OneCircle = new("reflections.one-circle", NoteLevel.Doubt, "One circle has nothing to be out of the middle of.");
    public static readonly NoteDefinition Apart = new("reflections.apart", NoteLevel.Doubt, "No circle lies inside another.");
    public static readonly NoteDefinition RoleApart = new(
        "reflections.role-apart", NoteLevel.Doubt, "A circle that was named does not lie inside the other, or is not the kind that it is called.");
    public static readonly NoteDefinition Clipped = new("reflections.clipped", NoteLevel.Caution, "Where the light is clipped the edge was left out.");
    public static readonly NoteDefinition ClippedMost = new("reflections.clipped-most", NoteLevel.Doubt, "Most of an edge is clipped.");
    public static readonly NoteDefinition Blurred = new("reflections.blurred", NoteLevel.Doubt, "A circle is out of focus or shaken beside its size.");
    public static readonly NoteDefinition Soft = new("reflections.soft", NoteLevel.Caution, "A circle is soft beside its size.");
    public static readonly NoteDefinition Slanted = new("reflections.slanted", NoteLevel.Caution,
        "A circle is seen from the side; the bars hold what that may do.");
    public static readonly NoteDefinition Oblique = new("reflections.oblique", NoteLevel.Doubt, "A circle is seen strongly from the side.");
    public static readonly NoteDefinition Beside = new("reflections.beside", NoteLevel.Doubt, "Two edges blur into each other.");
    public static readonly NoteDefinition Rough = new("reflections.not-round", NoteLevel.Doubt, "An outline is neither a circle nor an ellipse.");
    public static readonly NoteDefinition Part = new("reflections.part", NoteLevel.Caution, "Part of a circle is hidden, too faint or outside the photo.");
}
