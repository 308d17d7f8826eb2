namespace StarAssay.Engine.Optics.PairFit;

/// <summary>Parameters beside the unknowns of a joint fit, each by what a unit of it adds to the images.</summary>
internal interface IBeside
{
    /// <summary>How many.</summary>
    int Count { get; }

    /// <summary>What a unit of each adds to an image, electrons, and which it is.</summary>
    IReadOnlyList<(float[] Image, int At)> In(int pair, int k);
}

/// <summary>Two sets of them, the second after the first.</summary>
internal sealed class BesideBoth(IBeside first, IBeside second) : IBeside
{
    /// <inheritdoc/>
    public int Count => first.Count + second.Count;

    /// <inheritdoc/>
    public IReadOnlyList<(float[] Image, int At)> In(int pair, int k) =>
        [.. first.In(pair, k), .. second.In(pair, k).Select(i => (i.Image, first.Count + i.At))];
}
