using StarAssay.Engine.Results;

namespace StarAssay.Engine.Imaging.Calibration;

/// <summary>What calibrating frames can meet.</summary>
[NoteList]
public static class CalibrationNotes
{
    /// <summary>Too few frames to reject outliers.</summary>
    public static readonly NoteDefinition FewFrames = new("calibration.few-frames", NoteLevel.Caution,
        "Too few frames were combined to tell a cosmic ray from the signal.");

    /// <summary>Many values rejected.</summary>
    public static readonly NoteDefinition ManyRejected = new("calibration.many-rejected", NoteLevel.Caution,
        "More than a twentieth of the values were rejected while combining; the frames may not belong together.");

    /// <summary>Pixels whose flat is too dark.</summary>
    public static readonly NoteDefinition FlatDark = new("calibration.flat-dark", NoteLevel.Caution,
        "The flat field is too dark in some pixels to divide by; they are masked.");

    /// <summary>Dark of another exposure.</summary>
    public static readonly NoteDefinition DarkScaled = new("calibration.dark-scaled", NoteLevel.Info,
        "The dark frame was scaled to the exposure of the image.");

    /// <summary>Gain that scatters.</summary>
    public static readonly NoteDefinition GainUneven = new("calibration.gain-uneven", NoteLevel.Caution,
        "The gain differs over the frame more than its noise allows; the two flats may not show the same light.");

    /// <summary>Cosmic rays that may be stars.</summary>
    public static readonly NoteDefinition ManyCosmicRays = new("calibration.many-cosmic-rays", NoteLevel.Caution,
        "More than a hundredth of the pixels were taken for cosmic rays; sharp stars may be among them.");
}
