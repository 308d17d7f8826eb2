using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.LateralColor;

/// <summary>What measuring lateral color can have to say.</summary>
[NoteList]
public static class LateralColorNotes
{
    public static readonly NoteDefinition Method = new("lateral-color.method", NoteLevel.Info, "What the offsets and their uncertainties rest on.");
    public static readonly NoteDefinition ColorLeftOut = new(
        "lateral-color.color-left-out", NoteLevel.Caution,
        "The stars of a color could not be found again in the reference.");
    public static readonly NoteDefinition FewStars = new(
        "lateral-color.few-stars", NoteLevel.Doubt,
        "So few stars that a difference of scale is all that they tell.");
    public static readonly NoteDefinition CornersEmpty = new(
        "lateral-color.corners-empty", NoteLevel.Caution,
        "Stars leave the corners of the sensor empty; lateral color there is extrapolated.");
    public static readonly NoteDefinition AirMixed = new(
        "lateral-color.air-mixed", NoteLevel.Info,
        "The constant offset holds dispersion of the air and what the telescope adds; not told apart.");
    public static readonly NoteDefinition AirExplains = new(
        "lateral-color.air-explains", NoteLevel.Info,
        "Dispersion of the air explains the constant offset.");
    public static readonly NoteDefinition AirDoesNotExplain = new(
        "lateral-color.air-does-not-explain", NoteLevel.Caution,
        "The constant offset is not what dispersion of the air makes.");
    public static readonly NoteDefinition Moved = new(
        "lateral-color.moved", NoteLevel.Info,
        "Frames taken one after the other: shift and turn are the mount's, scale holds a change of focus and refraction.");
    public static readonly NoteDefinition Refocused = new(
        "lateral-color.refocused", NoteLevel.Doubt,
        "The focuser moved between the frames, which changes the scale.");
    public static readonly NoteDefinition Turned = new(
        "lateral-color.turned", NoteLevel.Doubt,
        "Colors of one exposure are turned against each other, which optics do not do.");
    public static readonly NoteDefinition Scatter = new("lateral-color.scatter", NoteLevel.Caution, "Stars scatter by more than their uncertainties say.");
}
