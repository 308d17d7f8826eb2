namespace StarAssay.Engine.Optics.PairFit;

/// <summary>How finely a <see cref="PairModel"/> works.</summary>
internal enum PairModelGrade
{
    /// <summary>Within a small part of the noise of the brightest images.</summary>
    Exact,

    /// <summary>A smaller field and so a coarser pupil, good to a few per cent: for the way to the start.</summary>
    Start,

    /// <summary>A field no larger than the window, one wavelength: its derivatives make steps good to a few per cent.</summary>
    Steps,
}
