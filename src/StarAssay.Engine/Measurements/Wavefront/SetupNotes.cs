using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>What the frames' names and headers may have to say against the call; said by the face, which reads them.</summary>
[NoteList]
public static class SetupNotes
{
    /// <summary>The pair may be in the wrong order.</summary>
    public static readonly NoteDefinition Exchanged = new("wavefront.exchanged", NoteLevel.Caution,
        "Focuser positions or file names say that the inside and the outside image may be exchanged, which the images cannot show: it turns the sign of spherical aberration and astigmatism.");

    /// <summary>The focuser did not move between the images.</summary>
    public static readonly NoteDefinition OneSide = new("wavefront.one-side", NoteLevel.Doubt,
        "The headers put the focuser at the same place for both images of a pair: they may lie on one side of focus.");

    /// <summary>Header and call name another telescope.</summary>
    public static readonly NoteDefinition HeaderDiffers = new("wavefront.header-differs", NoteLevel.Caution,
        "The header states another aperture or focal length than the call.");
}
