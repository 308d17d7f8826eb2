using System.Numerics.Tensors;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>A wavefront that differs between the two images of each pair: one parameter a mode, nm by which the first image's coefficient is above
/// the second's, while their mean stays.</summary>
/// <remarks>Takes the fit's derivative images as the normal equations that it goes into have just made them.</remarks>
internal sealed class ModesApart(JointFit fit, int modes) : IBeside
{
    /// <inheritdoc/>
    public int Count { get; } = Math.Min(modes, fit.ModeCount);

    /// <inheritdoc/>
    public IReadOnlyList<(float[] Image, int At)> In(int pair, int k) => [.. Enumerable.Range(0, Count).Select(j =>
    {
        float[] image = fit.Derivatives.ModeImage(pair, k, j).ToArray();
        TensorPrimitives.Multiply(image, (k == 0 ? 0.5f : -0.5f) * (float)fit.States[pair].Flux[k], image);
        return (image, j);
    })];
}
