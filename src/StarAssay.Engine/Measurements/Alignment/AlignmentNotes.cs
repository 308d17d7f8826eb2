using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Alignment;

/// <summary>What measuring the alignment can have to say.</summary>
[NoteList]
public static class AlignmentNotes
{
    public static readonly NoteDefinition Method = new("alignment.method", NoteLevel.Info, "What the decentre and its uncertainty rest on.");
    public static readonly NoteDefinition Turning = new("alignment.turning", NoteLevel.Info, "What to know before screws are turned.");
    public static readonly NoteDefinition Unobstructed = new(
        "alignment.unobstructed", NoteLevel.Info,
        "Without an obstruction the rings show coma alone.");
    public static readonly NoteDefinition OneSide = new(
        "alignment.one-image", NoteLevel.Info,
        "One image tells coma from an obstruction out of the middle by brightness alone.");
    public static readonly NoteDefinition ImageOnly = new(
        "alignment.image-only", NoteLevel.Info,
        "Directions are told in the image alone, since it is not known how the camera lies.");
    public static readonly NoteDefinition Air = new(
        "alignment.air", NoteLevel.Info,
        "The exposure is not known; the bars hold what turbulence leaves in a short one.");
    public static readonly NoteDefinition ShortExposure = new(
        "alignment.short-exposure", NoteLevel.Caution,
        "The exposure is too short to average the seeing, which moves rings as coma does.");
    public static readonly NoteDefinition Clipped = new(
        "alignment.clipped", NoteLevel.Caution,
        "Saturated pixels of the disc were left out.");
    public static readonly NoteDefinition Ring = new(
        "alignment.saturated-ring", NoteLevel.Doubt,
        "So much of a ring is saturated that its place must not decide.");
    public static readonly NoteDefinition Cut = new(
        "alignment.star-cut", NoteLevel.Doubt,
        "Part of the disc lies outside the frame.");
    public static readonly NoteDefinition Small = new(
        "alignment.small-disc", NoteLevel.Caution,
        "The disc has few pixels or few waves of defocus.");
    public static readonly NoteDefinition Faint = new(
        "alignment.faint", NoteLevel.Caution,
        "The star is faint: its signal-to-noise ratio is below 150.");
    public static readonly NoteDefinition Neighbor = new(
        "alignment.neighbor", NoteLevel.Caution,
        "A second star overlaps the disc; its light was taken out.");
    public static readonly NoteDefinition OtherLight = new(
        "alignment.other-light", NoteLevel.Doubt,
        "Light beside the disc does not belong to the star.");
    public static readonly NoteDefinition Hole = new(
        "alignment.hole", NoteLevel.Doubt,
        "The disc is dark in the middle though no obstruction was declared.");
    public static readonly NoteDefinition Obstruction = new(
        "alignment.obstruction", NoteLevel.Caution,
        "The shadow is not as large as the declared obstruction.");
    public static readonly NoteDefinition Misfit = new(
        "alignment.misfit", NoteLevel.Caution,
        "The model misses the image by more than the noise; the bars have been widened for it.");
    public static readonly NoteDefinition MisfitLarge = new(
        "alignment.misfit-large", NoteLevel.Doubt,
        "The model is far from the image: something is not as declared.");
    public static readonly NoteDefinition RingsDiffer = new(
        "alignment.rings-differ", NoteLevel.Doubt,
        "Edges and rings traced one by one do not lie where the fit has them.");
    public static readonly NoteDefinition OnePlace = new(
        "alignment.one-place", NoteLevel.Doubt,
        "The headers put the focuser at one place for both images.");
    public static readonly NoteDefinition Large = new(
        "alignment.large", NoteLevel.Caution,
        "The decentre is so large that circles are a rough description.");
}
