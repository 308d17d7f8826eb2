using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Spacing;

/// <summary>What measuring the spacing can have to say.</summary>
[NoteList]
public static class SpacingNotes
{
    public static readonly NoteDefinition Method = new("spacing.method", NoteLevel.Info, "What the best distance and its uncertainty rest on.");
    public static readonly NoteDefinition FocusAndScale = new(
        "spacing.focus-and-scale", NoteLevel.Info,
        "A change of the distance moves the focus and changes the scale.");
    public static readonly NoteDefinition Astigmatism = new(
        "spacing.astigmatism", NoteLevel.Info,
        "The distance flattens the mean surface; blur of the corners that focus does not cure stays.");
    public static readonly NoteDefinition TwoDistances = new(
        "spacing.two-distances", NoteLevel.Caution,
        "From two distances it cannot be seen whether the sag follows a straight line.");
    public static readonly NoteDefinition NotStraight = new(
        "spacing.not-straight", NoteLevel.Caution,
        "The sag does not follow a straight line; a parabola is used.");
    public static readonly NoteDefinition Scatter = new(
        "spacing.scatter", NoteLevel.Caution,
        "The runs scatter about the fit by more than their uncertainties.");
    public static readonly NoteDefinition Extrapolated = new(
        "spacing.extrapolated", NoteLevel.Caution,
        "The best distance lies outside those tried, though near to them.");
    public static readonly NoteDefinition FarOutside = new(
        "spacing.far-outside", NoteLevel.Doubt,
        "The best distance lies far outside those tried; only the direction is told.");
    public static readonly NoteDefinition NotTold = new(
        "spacing.not-told", NoteLevel.Doubt,
        "The sag does not tell the best distance.");
    public static readonly NoteDefinition OneDistance = new(
        "spacing.one-distance", NoteLevel.Caution,
        "From one distance the answer rests on what was stated of the corrector.");
    public static readonly NoteDefinition CorrectorUnknown = new(
        "spacing.corrector-unknown", NoteLevel.Doubt,
        "One distance does not tell the direction without knowledge of the corrector.");
    public static readonly NoteDefinition ShapesAgree = new(
        "spacing.shapes-agree", NoteLevel.Info,
        "The astigmatism of the corners tells the same direction as the sag.");
    public static readonly NoteDefinition ShapesContradict = new(
        "spacing.shapes-contradict", NoteLevel.Doubt,
        "The astigmatism of the corners contradicts the sag: not a wrong distance alone.");
    public static readonly NoteDefinition AstigmatismLeft = new(
        "spacing.astigmatism-left", NoteLevel.Caution,
        "A flat distance would leave astigmatism in the corners: it may not be the distance alone.");
    public static readonly NoteDefinition SlopeDiffers = new(
        "spacing.slope-differs", NoteLevel.Caution,
        "The runs show another slope than was stated.");
    public static readonly NoteDefinition Run = new("spacing.run", NoteLevel.Caution, "What is to be said of the focus run at one distance.");
    public static readonly NoteDefinition DoubtfulRun = new(
        "spacing.doubtful-run", NoteLevel.Doubt,
        "The focus run at one distance must not decide.");
}
