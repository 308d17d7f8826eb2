namespace StarAssay.Engine.Imaging;

/// <summary>What the rounds that find sky level and noise sum over a block of pixels.</summary>
internal interface IClipRounds
{
    /// <summary>What lies within a reach of the center; a count of NaN when a pixel is NaN or infinite.</summary>
    static abstract ClipSums Within(in PixelBlock block, float center, float reach);

    /// <summary>Another round of clipping, and Newton's step of the center under Tukey's weight, from the same reading.</summary>
    static abstract (ClipSums Clip, float Step) Refine(in PixelBlock block, float center, float noise);
}

/// <summary>What a round of clipping sums over the samples within the clip.</summary>
/// <param name="Count">How many.</param>
/// <param name="Sum">Of the deviations from the center.</param>
/// <param name="Squares">Of their squares.</param>
internal readonly record struct ClipSums(float Count, float Sum, float Squares);
