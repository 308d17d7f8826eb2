using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>Changes of what a fit holds fixed: one parameter a change, by the images of another model less those of the present one.</summary>
internal sealed class BesideChanges : IBeside
{
    private readonly List<float[][][]> changes = [];

    /// <inheritdoc/>
    public int Count => changes.Count;

    /// <inheritdoc/>
    public IReadOnlyList<(float[] Image, int At)> In(int pair, int k) => [.. changes.Select((c, at) => (c[pair][k], at))];

    /// <summary>Adds one by its images, electrons, by pair and image.</summary>
    public void Add(float[][][] images) => changes.Add(images);

    /// <summary>Adds one by the optics that it makes of each pair's.</summary>
    public void Add(JointFit fit, Func<PairOptics, PairOptics> change) => Add([.. fit.Models.Select((model, p) =>
    {
        PairState state = fit.States[p];
        using var other = new PairModel(change(model.Optics), model.Modes, state.DefocusNm.Max(Math.Abs), model.Team);
        other.Evaluate(state);
        return Enumerable.Range(0, 2).Select(k =>
        {
            float[] image = new float[fit.Weights[p][k].Length];
            ReadOnlySpan<float> changed = other.Pixels.Part(k), present = model.Pixels.Part(k);
            for (int i = 0; i < image.Length; i++)
            {
                image[i] = (float)state.Flux[k] * (changed[i] - present[i]);
            }

            return image;
        }).ToArray();
    })]);

    /// <summary>J^T W J of the changes with all unknowns following, and its J^T W (data - model); null where the unknowns cannot be told.</summary>
    public (Matrix<double> Normal, Vector<double> Side)? Followed(JointFit fit)
    {
        (Matrix<double> equations, Vector<double> sides) = fit.Derivatives.NormalEquations(this);
        int own = fit.Unknowns.Count;
        if (PositiveDefinite.Inverse(equations.SubMatrix(0, own, 0, own)) is not { } inverse)
        {
            return null;
        }

        Matrix<double> across = equations.SubMatrix(0, own, own, Count);
        Matrix<double> follow = inverse * across;
        return (equations.SubMatrix(own, Count, own, Count) - (across.Transpose() * follow),
            sides.SubVector(own, Count) - (follow.Transpose() * sides.SubVector(0, own)));
    }
}
