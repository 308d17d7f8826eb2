using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.NightConditions;

/// <summary>What is said of one frame of a night.</summary>
[Flags]
#pragma warning disable CA2217 // every value is a bit of its own
public enum FrameMarks
#pragma warning restore CA2217
{
    /// <summary>Nothing to say.</summary>
    None = 0,

    /// <summary>Of the fifth with the narrowest stars: measure the optics on these.</summary>
    [Flag("best")]
    Best = 1,

    /// <summary>All stars are drawn out alike, otherwise than through the night: tracking or wind.</summary>
    [Flag("trailed")]
    Trailed = 2,

    /// <summary>The focuser was moved before this frame.</summary>
    [Flag("refocused")]
    Refocused = 4,

    /// <summary>Too few clean stars; left out.</summary>
    [Flag("few stars")]
    FewStars = 8,

    /// <summary>Airmass not known while that of others is; left out of what is reduced to the zenith.</summary>
    [Flag("no airmass")]
    NoAirmass = 16,
}
