using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.EdgeContrast;

/// <summary>What measuring an edge can have to say.</summary>
[NoteList]
public static class EdgeContrastNotes
{
    public static readonly NoteDefinition Method = new("edge-contrast.method", NoteLevel.Info, "What width, MTF and their uncertainties rest on.");
    public static readonly NoteDefinition NotCorrected = new("edge-contrast.not-corrected", NoteLevel.Info,
        "What the result still contains beside the telescope.");
    public static readonly NoteDefinition Phase = new("edge-contrast.phase", NoteLevel.Caution,
        "The Moon's phase angle was not given; how brightness falls from the limb inward was not known.");
    public static readonly NoteDefinition Followed = new("edge-contrast.followed", NoteLevel.Info,
        "The edge is no circle nor straight line; it was followed piece by piece.");
    public static readonly NoteDefinition Rough = new("edge-contrast.rough", NoteLevel.Doubt,
        "The edge is rough on a scale finer than it could be followed, which widens it.");
    public static readonly NoteDefinition Curved = new("edge-contrast.curved", NoteLevel.Doubt,
        "The edge is so strongly curved that a straight one's MTF does not hold.");
    public static readonly NoteDefinition Slant = new("edge-contrast.slant", NoteLevel.Caution,
        "The edge is nearly parallel to the pixels' rows; few phases of the pixels were seen.");
    public static readonly NoteDefinition Short = new("edge-contrast.short", NoteLevel.Caution,
        "Little of the edge serves.");
    public static readonly NoteDefinition NoBias = new("edge-contrast.no-bias", NoteLevel.Caution,
        "The level without light is not known, so glare was not measured.");
    public static readonly NoteDefinition GlareOneSided = new("edge-contrast.glare-one-sided", NoteLevel.Info,
        "Light on one side only: no veiling glare index in the sense of ISO 9358.");
    public static readonly NoteDefinition GlareSurround = new("edge-contrast.glare-surround", NoteLevel.Caution,
        "The bright field round the black patch is seen only as far as the frame reaches.");
    public static readonly NoteDefinition GlareBeyond = new("edge-contrast.glare-beyond", NoteLevel.Info,
        "The frame does not show the distance at which glare was asked for.");
    public static readonly NoteDefinition Ghost = new("edge-contrast.ghost", NoteLevel.Caution,
        "A patch of light in the dark that the distance from the edge does not explain.");
    public static readonly NoteDefinition Sun = new("edge-contrast.sun", NoteLevel.Info,
        "Cautions for photographing a limb.");
}
