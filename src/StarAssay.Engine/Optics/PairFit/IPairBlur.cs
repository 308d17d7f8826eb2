using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>The way from the diffraction images of a pair on the fine grid to pixels: seeing, jitter, pixel response.</summary>
/// <remarks>The first image travels in the real part, the second in the imaginary part. Images are given by their middle:
/// sample <see cref="Span"/>/2 of each axis belongs to the middle of pixel window/2.</remarks>
internal interface IPairBlur
{
    /// <summary>Fine samples along each axis that are wanted.</summary>
    int Span { get; }

    /// <summary>Chooses the blur of each image.</summary>
    void Set(ImageBlur first, ImageBlur second);

    /// <summary>Images of window x window pixels.</summary>
    void ToPixels(in SplitMatrix image, in SplitMatrix pixels, Team team);

    /// <summary>Derivative by each image's seeing of what <see cref="ToPixels"/> was last called for.</summary>
    void ByStrength(in SplitMatrix pixels, Team team);

    /// <summary>The transpose of <see cref="ToPixels"/>: carries a gradient by the pixels back to one by the fine images.</summary>
    void Backward(in SplitMatrix pixels, in SplitMatrix image, Team team);
}
