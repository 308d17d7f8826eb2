using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.RelativeIllumination;

/// <summary>What measuring the evenness of light can have to say.</summary>
[NoteList]
public static class RelativeIlluminationNotes
{
    public static readonly NoteDefinition Method = new("relative-illumination.method", NoteLevel.Info, "What the illumination and its uncertainties rest on.");
    public static readonly NoteDefinition NoBias = new("relative-illumination.no-bias", NoteLevel.Doubt,
        "The level without light is not known; left in, it makes the field look more even.");
    public static readonly NoteDefinition NoClipping = new("relative-illumination.no-clipping", NoteLevel.Info,
        "No stop that cuts the cone of light is seen within the frame.");
    public static readonly NoteDefinition Slope = new("relative-illumination.slope", NoteLevel.Caution,
        "The light falls off to one side; a slope of the light source cannot be told from the telescope by one flat.");
    public static readonly NoteDefinition Beside = new("relative-illumination.beside", NoteLevel.Caution,
        "What clips is centered beside the middle of the sensor.");
    public static readonly NoteDefinition NotTwoCircles = new("relative-illumination.not-two-circles", NoteLevel.Caution,
        "The light falls off otherwise than behind one round stop.");
    public static readonly NoteDefinition CornerDeparts = new("relative-illumination.corner-departs", NoteLevel.Doubt,
        "A corner gets clearly more or less light than the fit says.");
    public static readonly NoteDefinition Extrapolated = new("relative-illumination.extrapolated", NoteLevel.Info,
        "An image circle lies beyond the frame's corners.");
    public static readonly NoteDefinition Dust = new("relative-illumination.dust", NoteLevel.Info,
        "Cells that wide shadows of dust reach took no part in the fit.");
    public static readonly NoteDefinition DustRings = new("relative-illumination.dust-rings", NoteLevel.Info,
        "What the distances of dust before the sensor rest on.");
    public static readonly NoteDefinition DistanceUnsure = new("relative-illumination.distance-unsure", NoteLevel.Info,
        "The frame does not show how far from the sensor the stop stands.");
}
