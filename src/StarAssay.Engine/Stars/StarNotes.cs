using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>What the star measurement can have to say.</summary>
[NoteList]
public static class StarNotes
{
    public static readonly NoteDefinition NotLinear = new("stars.not-linear", NoteLevel.Doubt, "Sizes follow brightness: the frame is no linear image.");
    public static readonly NoteDefinition NotAField = new("stars.not-a-field", NoteLevel.Doubt,
        "The objects are not those of a star field: a flat, spectra, a lamp, trailed stars, or the step at a dark rim.");
    public static readonly NoteDefinition NoOneSize = new("stars.no-one-size", NoteLevel.Doubt,
        "Few of the bright objects share one size: it is not sure which of them are the stars.");
    public static readonly NoteDefinition StructuredSky = new("stars.structured-sky", NoteLevel.Doubt,
        "The sky has structure of the size of the stars that could not be told from them.");
    public static readonly NoteDefinition TooFew = new("stars.too-few", NoteLevel.Caution, "Too few clean stars for a statement about the field.");
    public static readonly NoteDefinition GainUnknown = new("stars.gain-unknown", NoteLevel.Caution,
        "The gain is not known; it was estimated from the stars, or their own photon noise is not in their uncertainties.");
    public static readonly NoteDefinition SaturationUnknown = new("stars.saturation-unknown", NoteLevel.Info,
        "The saturation level is not known; clipped stars are told by their flat tops only.");
    public static readonly NoteDefinition Saturated = new("stars.saturated", NoteLevel.Info,
        "Some stars are clipped; they are flagged and left out of the summary.");
    public static readonly NoteDefinition CosmicRays = new("stars.cosmic-rays", NoteLevel.Info, "Objects sharper than the optics can draw were flagged.");
    public static readonly NoteDefinition Extended = new("stars.extended", NoteLevel.Info, "Objects clearly larger than the stars around them were flagged.");
    public static readonly NoteDefinition Undersampled = new("stars.undersampled", NoteLevel.Caution,
        "The usual star is narrower than 1.5 pixels (FWHM): its size is ruled by the pixels.");
    public static readonly NoteDefinition CorrelatedNoise = new("stars.correlated-noise", NoteLevel.Info,
        "Neighboring pixels share their noise (resampled or color-interpolated frame); the threshold was raised accordingly.");
    public static readonly NoteDefinition Crowded = new("stars.crowded", NoteLevel.Caution, "A large share of the stars overlap.");
    public static readonly NoteDefinition LargeStars = new("stars.large", NoteLevel.Caution, "The stars are so large that their outer circle was cut.");
    public static readonly NoteDefinition FlatTopped = new("stars.flat-topped", NoteLevel.Caution,
        "Stars are out of focus: flat-topped, so that no Moffat profile gives their width; that of their own profile is quoted.");
}
