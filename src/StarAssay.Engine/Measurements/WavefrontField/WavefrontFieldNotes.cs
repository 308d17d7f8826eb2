using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>What measuring the wavefront over the field can have to say.</summary>
[NoteList]
public static class WavefrontFieldNotes
{
    public static readonly NoteDefinition Method = new("wavefront-field.method", NoteLevel.Info,
        "What the laws over the field and their uncertainties rest on.");
    public static readonly NoteDefinition LeftOut = new("wavefront-field.left-out", NoteLevel.Info, "Stars that were not fitted, and why.");
    public static readonly NoteDefinition FewStars = new("wavefront-field.few-stars", NoteLevel.Caution,
        "So few stars that the laws over the field rest on each of them.");
    public static readonly NoteDefinition CornersEmpty = new("wavefront-field.corners-empty", NoteLevel.Caution,
        "Stars leave a part of the sensor empty; what is said of it is extrapolated.");
    public static readonly NoteDefinition MostlyUnfit = new("wavefront-field.mostly-unfit", NoteLevel.Caution,
        "Most stars are cut, clipped or overlapped by others.");
    public static readonly NoteDefinition LittleDefocus = new("wavefront-field.little-defocus", NoteLevel.Caution,
        "So little defocus that the modes are told apart badly.");
    public static readonly NoteDefinition Misfit = new("wavefront-field.misfit", NoteLevel.Caution,
        "The model does not describe the discs within their noise.");
    public static readonly NoteDefinition MisfitLarge = new("wavefront-field.misfit-large", NoteLevel.Doubt, "The model does not describe the discs.");
    public static readonly NoteDefinition Vignetted = new("wavefront-field.vignetted", NoteLevel.Caution,
        "The discs fit worse towards the corners, as cut pupils do.");
    public static readonly NoteDefinition Flexure = new("wavefront-field.flexure", NoteLevel.Caution,
        "The sensor tilted between the two frames.");
    public static readonly NoteDefinition ComaFree = new("wavefront-field.coma-free", NoteLevel.Info,
        "Why the place without coma is not told.");
    public static readonly NoteDefinition NotParaboloid = new("wavefront-field.not-paraboloid", NoteLevel.Caution,
        "Coma does not grow over the field as that of a single paraboloid.");
    public static readonly NoteDefinition NotSmooth = new("wavefront-field.not-smooth", NoteLevel.Caution,
        "The stars scatter about the laws far more than their photons.");
}
