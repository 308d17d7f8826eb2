using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.NightConditions;

/// <summary>What measuring the conditions of a night can have to say.</summary>
[NoteList]
public static class NightConditionsNotes
{
    public static readonly NoteDefinition Method = new("night-conditions.method", NoteLevel.Info,
        "How widths were reduced and what the bars hold.");
    public static readonly NoteDefinition NotAirAlone = new("night-conditions.not-air-alone", NoteLevel.Info,
        "Optics, focus and mount are in every width: what the air did is at most that.");
    public static readonly NoteDefinition FewFrames = new("night-conditions.few-frames", NoteLevel.Caution,
        "Too few frames, or too short a time, to tell a trend.");
    public static readonly NoteDefinition FewStars = new("night-conditions.few-stars", NoteLevel.Caution,
        "Frames with too few clean stars were left out.");
    public static readonly NoteDefinition NoAirmass = new("night-conditions.no-airmass", NoteLevel.Caution,
        "Airmass not known: widths are not reduced to the zenith, or frames were left out.");
    public static readonly NoteDefinition WavelengthAssumed = new("night-conditions.wavelength-assumed", NoteLevel.Info,
        "The wavelength is not known; 550 nm was taken.");
    public static readonly NoteDefinition WithDiffraction = new("night-conditions.with-diffraction", NoteLevel.Info,
        "The aperture is not known: the telescope's diffraction is still in the reduced widths.");
    public static readonly NoteDefinition NotResolved = new("night-conditions.not-resolved", NoteLevel.Caution,
        "Stars hardly wider than the telescope's diffraction: the air's share is not told.");
    public static readonly NoteDefinition Undersampled = new("night-conditions.undersampled", NoteLevel.Caution,
        "Stars hardly wider than the pixels: their widths are less sure.");
    public static readonly NoteDefinition Trailed = new("night-conditions.trailed", NoteLevel.Caution,
        "Frames whose stars are all drawn out alike.");
    public static readonly NoteDefinition Rising = new("night-conditions.rising", NoteLevel.Caution,
        "Stars grow through the night by more than the wandering of the air explains.");
    public static readonly NoteDefinition Falling = new("night-conditions.falling", NoteLevel.Info,
        "Stars shrink through the night by more than the wandering of the air explains.");
    public static readonly NoteDefinition RefocusHelps = new("night-conditions.refocus-helps", NoteLevel.Caution,
        "Stars grow between refocusings and shrink with each: focus drifts.");
    public static readonly NoteDefinition FocusHeld = new("night-conditions.focus-held", NoteLevel.Info,
        "Refocusing does not make the stars smaller by more than the uncertainty.");
    public static readonly NoteDefinition FocusUnseen = new("night-conditions.focus-unseen", NoteLevel.Info,
        "The focuser was not moved: sizes alone do not tell a drifting focus from worse air.");
    public static readonly NoteDefinition FocusFollowed = new("night-conditions.focus-followed", NoteLevel.Info,
        "The focuser moved between most frames; its places are no refocusings.");
    public static readonly NoteDefinition FocusDrifts = new("night-conditions.focus-drifts", NoteLevel.Info,
        "Best focus moves with time or temperature.");
    public static readonly NoteDefinition Cooling = new("night-conditions.cooling", NoteLevel.Info,
        "Whether focus comes to rest exponentially, as a cooling tube does.");
    public static readonly NoteDefinition NoTime = new("night-conditions.no-time", NoteLevel.Caution,
        "Frames without a time were left out.");
    public static readonly NoteDefinition DoubtfulFrame = new("night-conditions.doubtful-frame", NoteLevel.Caution,
        "A frame that is no field of stars was left out.");
    public static readonly NoteDefinition SeveralNights = new("night-conditions.several-nights", NoteLevel.Doubt,
        "The frames are not of one night.");
    public static readonly NoteDefinition Mixed = new("night-conditions.mixed", NoteLevel.Doubt,
        "Frames of several filters, cameras or telescopes: their widths are not alike.");
    public static readonly NoteDefinition SeveralFields = new("night-conditions.several-fields", NoteLevel.Info,
        "Frames of several fields.");
    public static readonly NoteDefinition ShortExposures = new("night-conditions.short-exposures", NoteLevel.Info,
        "Exposures so short that image motion is not averaged.");
}
