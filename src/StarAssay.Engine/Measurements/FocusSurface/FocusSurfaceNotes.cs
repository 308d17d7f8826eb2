using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.FocusSurface;

/// <summary>What measuring the focus surface can have to say.</summary>
[NoteList]
public static class FocusSurfaceNotes
{
    public static readonly NoteDefinition Method = new("focus-surface.method", NoteLevel.Info, "What the surface and its uncertainties rest on.");
    public static readonly NoteDefinition FrameLeftOut = new("focus-surface.frame-left-out", NoteLevel.Caution,
        "The stars of a frame could not be found again in the others.");
    public static readonly NoteDefinition FewStars = new("focus-surface.few-stars", NoteLevel.Caution,
        "So few stars that the shape of the surface rests on each of them.");
    public static readonly NoteDefinition CornersEmpty = new("focus-surface.corners-empty", NoteLevel.Caution,
        "Stars leave a part of the sensor empty; the surface there is extrapolated.");
    public static readonly NoteDefinition RunTooShort = new("focus-surface.run-too-short", NoteLevel.Caution,
        "The best focus of a part of the sensor lies outside the run.");
    public static readonly NoteDefinition OneSided = new("focus-surface.one-sided", NoteLevel.Doubt,
        "The best focus in the middle of the sensor lies outside the run.");
    public static readonly NoteDefinition BlurGrowth = new("focus-surface.blur-growth", NoteLevel.Doubt,
        "Stars grow otherwise with the focuser than the focal ratio says: positions or focal ratio are wrong.");
    public static readonly NoteDefinition OtherBlur = new("focus-surface.other-blur", NoteLevel.Info,
        "A frame's blur without defocus differs clearly from that of the others.");
    public static readonly NoteDefinition Backlash = new("focus-surface.backlash", NoteLevel.Caution,
        "The focuser stands elsewhere when it comes from the other side.");
    public static readonly NoteDefinition Aberrations = new("focus-surface.aberrations", NoteLevel.Caution,
        "Coma and astigmatism together move the place where stars are smallest.");
    public static readonly NoteDefinition NotSmooth = new("focus-surface.not-smooth", NoteLevel.Caution,
        "The stars' own best focus departs from a tilted bowl by more than their uncertainties.");
}
