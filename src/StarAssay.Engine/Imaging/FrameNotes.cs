using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging;

/// <summary>What can be missing, contradictory or doubtful in an image that comes in.</summary>
[NoteList]
public static class FrameNotes
{
    /// <summary>Facts of the camera that no card gives.</summary>
    public static readonly NoteDefinition FactsMissing = new("frame.facts-missing", NoteLevel.Info,
        "The header does not give some facts of the camera; what depends on them is not computed.");

    /// <summary>GAIN is not electrons per ADU.</summary>
    public static readonly NoteDefinition GainSetting = new("frame.gain-setting", NoteLevel.Info,
        "The card GAIN is a setting of the camera, not electrons per ADU, and was not used as such.");

    /// <summary>GAIN without a word on its unit.</summary>
    public static readonly NoteDefinition GainAssumed = new("frame.gain-assumed", NoteLevel.Caution,
        "The card GAIN does not say its unit and was taken as electrons per ADU; a flat and bias pair would check it.");

    /// <summary>Two cards disagree.</summary>
    public static readonly NoteDefinition FactContradictory = new("frame.fact-contradictory", NoteLevel.Caution,
        "Two cards of the header contradict each other; the text says which one was used.");

    /// <summary>A value that cannot be.</summary>
    public static readonly NoteDefinition FactInvalid = new("frame.fact-invalid", NoteLevel.Caution,
        "A card holds a value that cannot be true or read, and was not used.");

    /// <summary>Pitch and binning.</summary>
    public static readonly NoteDefinition PitchBinned = new("frame.pitch-binned", NoteLevel.Caution,
        "The image is binned and the header does not prove whether the pixel size given includes the binning.");

    /// <summary>Cards outside the standard.</summary>
    public static readonly NoteDefinition HeaderBroken = new("frame.header-broken", NoteLevel.Info,
        "Some cards of the header do not follow the FITS standard; they were passed over.");

    /// <summary>The name of the object does not fit the picture.</summary>
    public static readonly NoteDefinition ObjectDoubtful = new("frame.object-doubtful", NoteLevel.Caution,
        "What the header says was photographed does not fit the pixels.");

    /// <summary>Clipping level seen in the pixels.</summary>
    public static readonly NoteDefinition SaturationFound = new("frame.saturation-found", NoteLevel.Info,
        "The saturation level was found from the data, where pixels pile up at one value.");

    /// <summary>Clipping level against the header's.</summary>
    public static readonly NoteDefinition SaturationContradicts = new("frame.saturation-contradicts", NoteLevel.Caution,
        "Pixels pile up below the saturation level that was stated; the lower level was used.");

    /// <summary>Much of the frame is clipped.</summary>
    public static readonly NoteDefinition MostlySaturated = new("frame.mostly-saturated", NoteLevel.Doubt,
        "More than a twentieth of the pixels are saturated.");

    /// <summary>Mosaic phase against the header's.</summary>
    public static readonly NoteDefinition BayerContradicts = new("frame.bayer-contradicts", NoteLevel.Caution,
        "The color mosaic that the header states does not fit the pixels: the two greens lie elsewhere.");

    /// <summary>Mosaic phase that the data cannot confirm.</summary>
    public static readonly NoteDefinition BayerUnchecked = new("frame.bayer-unchecked", NoteLevel.Info,
        "The pixels are too even to check the color mosaic that the header states.");

    /// <summary>A mosaic that nobody mentioned.</summary>
    public static readonly NoteDefinition LooksMosaic = new("frame.looks-mosaic", NoteLevel.Caution,
        "The pixels look like a raw color mosaic, but the header does not say so.");

    /// <summary>All pixels alike.</summary>
    public static readonly NoteDefinition Constant = new("frame.constant", NoteLevel.Doubt,
        "All pixels of the image have the same value.");

    /// <summary>Pixels without a value.</summary>
    public static readonly NoteDefinition NotFinite = new("frame.not-finite", NoteLevel.Caution,
        "Some pixels hold no number (NaN, infinity or BLANK) and are treated as masked.");

    /// <summary>WCS cards that cannot be used.</summary>
    public static readonly NoteDefinition WcsUnusable = new("frame.wcs-unusable", NoteLevel.Info,
        "The header's celestial coordinates cannot be used.");

    /// <summary>A distortion polynomial that CTYPE does not name.</summary>
    public static readonly NoteDefinition DistortionUnnamed = new("frame.distortion-unnamed", NoteLevel.Info,
        "The header holds a distortion polynomial that its CTYPE does not name; it was used.");

    /// <summary>More than one image in the file.</summary>
    public static readonly NoteDefinition SeveralImages = new("frame.several-images", NoteLevel.Info,
        "The file holds several images; the text says which one was taken.");

    /// <summary>One plane of a cube.</summary>
    public static readonly NoteDefinition PlaneTaken = new("frame.plane-taken", NoteLevel.Info,
        "The image has more than two axes; the text says which plane was taken.");

    /// <summary>File longer than its header says.</summary>
    public static readonly NoteDefinition ExtraBytes = new("frame.extra-bytes", NoteLevel.Caution,
        "The file is longer than its header says; the sizes in the header may be wrong.");

    /// <summary>Oblong pixels.</summary>
    public static readonly NoteDefinition PixelsOblong = new("frame.pixels-oblong", NoteLevel.Caution,
        "Pixel size or binning differ between x and y; shapes and scales in y are off by that ratio.");

    /// <summary>Electrons instead of ADU.</summary>
    public static readonly NoteDefinition Electrons = new("frame.electrons", NoteLevel.Info,
        "The pixels are in electrons: one adu of the results is one electron.");

    /// <summary>BUNIT that is neither ADU nor electrons.</summary>
    public static readonly NoteDefinition UnitUnknown = new("frame.unit-unknown", NoteLevel.Caution,
        "The unit of the pixels is neither ADU nor electrons; they were taken as ADU.");

    /// <summary>Uncertainty handed over with the image.</summary>
    public static readonly NoteDefinition UncertaintyIgnored = new("frame.uncertainty-ignored", NoteLevel.Info,
        "The uncertainty that came with the image is not used; the noise is measured or computed from gain and read noise.");
}
