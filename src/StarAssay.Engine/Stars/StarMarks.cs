using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>What was seen on one star; 0 is a clean one.</summary>
[Flags]
#pragma warning disable CA2217 // every value is a bit of its own
public enum StarMarks
#pragma warning restore CA2217
{
    /// <summary>Nothing to say.</summary>
    None = 0,

    /// <summary>Clipped pixels: flux is too low, size too large.</summary>
    [Flag("saturated")]
    Saturated = 1,

    /// <summary>The circle that counts as the whole star runs over the frame's edge.</summary>
    [Flag("edge")]
    Edge = 2,

    /// <summary>Another star lies within that circle; its light was taken out as well as could be.</summary>
    [Flag("blended")]
    Blended = 4,

    /// <summary>Sharper than the optics can draw: a cosmic-ray hit or a hot pixel.</summary>
    [Flag("cosmic ray")]
    CosmicRay = 8,

    /// <summary>Clearly larger than the stars around it: a galaxy, a nebula's knot, a trail or a close pair.</summary>
    [Flag("not a star")]
    NotAStar = 16,

    /// <summary>FWHM below 1.5 pixels: the size is that of the pixel as much as of the star, and no shape is given.</summary>
    [Flag("undersampled")]
    Undersampled = 32,

    /// <summary>Masked or missing pixels within the circle, filled from the other side of the star.</summary>
    [Flag("bad pixels")]
    BadPixels = 64,

    /// <summary>No stable ellipse was found; size and shape are NaN.</summary>
    [Flag("no shape")]
    NoShape = 128,

    /// <summary>Flat-topped: a disc or ring out of focus, or two stars in one. No Moffat profile fits it; its width is that of its own profile.
    /// Told of the stars whose profile is fitted.</summary>
    [Flag("flat-topped")]
    FlatTopped = 256,
}
