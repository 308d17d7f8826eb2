using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>What frames' names and headers (read by the face) and the discs themselves may have to say against the call.</summary>
[NoteList]
public static class SetupNotes
{
    /// <summary>The pair may be in the wrong order.</summary>
    public static readonly NoteDefinition Exchanged = new("wavefront.exchanged", NoteLevel.Caution,
        "Focuser positions or file names say that the inside and the outside image may be exchanged, which the images cannot show: it turns the sign of " +
            "spherical aberration and astigmatism.");

    /// <summary>The focuser did not move between the images.</summary>
    public static readonly NoteDefinition OneSide = new("wavefront.one-side", NoteLevel.Doubt,
        "The headers put the focuser at the same place for both images of a pair: they may lie on one side of focus.");

    /// <summary>Header and call name another telescope.</summary>
    public static readonly NoteDefinition HeaderDiffers = new("wavefront.header-differs", NoteLevel.Doubt,
        "The header states another aperture, focal length or wavelength than the call.");

    /// <summary>The frames are binned and the pitch is that of single pixels.</summary>
    public static readonly NoteDefinition BinningContradicts = new("wavefront.binning-contradicts", NoteLevel.Doubt,
        "The frames' binning and pixel pitch contradict each other.");

    /// <summary>The images of a pair come from different nights or cameras.</summary>
    public static readonly NoteDefinition NotOnePair = new("wavefront.not-one-pair", NoteLevel.Doubt,
        "The images of an entry were taken hours apart or with different cameras or filters: they need not show one wavefront.");

    /// <summary>The focuser's way is not the distance between the images.</summary>
    public static readonly NoteDefinition FocuserContradicts = new("wavefront.focuser-contradicts", NoteLevel.Doubt,
        "The way of the focuser between the images contradicts the size of the discs.");

    /// <summary>The discs fit another image scale.</summary>
    public static readonly NoteDefinition ScaleContradicts = new("wavefront.scale-contradicts", NoteLevel.Doubt,
        "The rings in the discs fit another pixel pitch, focal length, aperture or wavelength than stated.");

    /// <summary>The discs fit another obstruction.</summary>
    public static readonly NoteDefinition ObstructionContradicts = new("wavefront.obstruction-contradicts", NoteLevel.Doubt,
        "The discs fit another central obstruction than stated.");

    /// <summary>One image is turned or mirrored.</summary>
    public static readonly NoteDefinition ImageTurned = new("wavefront.image-turned", NoteLevel.Doubt,
        "The images of a pair fit each other better when one is turned or mirrored.");
}
