using StarAssay.Engine.Results;

namespace StarAssay.Engine.Simulation;

/// <summary>What a drawn frame cannot show as a real one would.</summary>
[NoteList]
public static class SimulationNotes
{
    /// <summary>Wings cut off.</summary>
    public static readonly NoteDefinition LightOutside =
        new("simulation.light-outside", NoteLevel.Caution, "Stars were drawn in stamps that leave out more than 3 % of their light.");

    /// <summary>Images too far apart.</summary>
    public static readonly NoteDefinition CoarseGrid =
        new("simulation.coarse-grid", NoteLevel.Caution, "Star images were computed at field points more than half a wave of defocus apart and blended " +
            "between them.");

    /// <summary>Pupil cut past its centre.</summary>
    public static readonly NoteDefinition HalfCut =
        new("simulation.half-cut", NoteLevel.Caution, "Stars whose pupil a stop cuts past its middle were dimmed, but drawn with the whole pupil's image.");
}
