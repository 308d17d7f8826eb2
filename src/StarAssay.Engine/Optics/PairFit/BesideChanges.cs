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
        using PairModel other = Drawn(model, fit.States[p], change(model.Optics), PairModelGrade.Exact);
        return Difference(fit, p, other, model);
    })]);

    /// <summary>Adds many, good to a few per cent for a small part of the price: at the mean wavelength, with a coarser pupil, and so for the images as
    /// they are.</summary>
    public void AddRoughly(JointFit fit, IReadOnlyList<Func<PairOptics, PairOptics>> many)
    {
        float[][][][] images = [.. many.Select(_ => new float[fit.Models.Length][][])];
        for (int p = 0; p < fit.Models.Length; p++)
        {
            PairOptics optics = fit.Models[p].Optics;
            optics = optics with { WavelengthsNm = [optics.MeanWavelengthNm], Weights = [1] };
            using PairModel present = Drawn(fit.Models[p], fit.States[p], optics, PairModelGrade.Start);
            for (int c = 0; c < many.Count; c++)
            {
                using PairModel other = Drawn(fit.Models[p], fit.States[p], many[c](optics), PairModelGrade.Start);
                images[c][p] = Difference(fit, p, other, present);
            }
        }

        changes.AddRange(images);
    }

    /// <summary>J^T W J of the changes with all unknowns following, and its J^T W (data - model); null where the unknowns cannot be told.</summary>
    public (Matrix<double> Normal, Vector<double> Side)? Followed(JointFit fit)
    {
        (Matrix<double> equations, Vector<double> sides) = fit.Derivatives.NormalEquations(this);
        int own = fit.Unknowns.Count;
        if (PositiveDefinite.Inverse(equations.SubMatrix(0, own, 0, own)) is not { } inverse)
        {
            return null;
        }

        (Matrix<double> normal, Vector<double> side, _) = Eliminated(inverse, equations, sides, sides.SubVector(0, own));
        return (normal, side);
    }

    /// <summary>Normal equations of their last rows once the first ones follow (the Schur complement), and how the first answer to each of the last.</summary>
    /// <param name="inverse">Inverse of the first rows' part, with what else is known of them.</param>
    /// <param name="equations">J^T W J of all.</param>
    /// <param name="sides">J^T W (data - model) of all.</param>
    /// <param name="gradient">The first rows' part of it, with what else is known of them.</param>
    public static (Matrix<double> Normal, Vector<double> Side, Matrix<double> Answers) Eliminated(Matrix<double> inverse, Matrix<double> equations,
        Vector<double> sides, Vector<double> gradient)
    {
        int own = gradient.Count, last = sides.Count - own;
        Matrix<double> across = equations.SubMatrix(0, own, own, last);
        Matrix<double> answers = inverse * across;
        Matrix<double> normal = equations.SubMatrix(own, last, own, last) - (across.Transpose() * answers);
        return (normal, sides.SubVector(own, last) - (answers.Transpose() * gradient), answers);
    }

    // On the same grid, whose own errors then cancel.
    private static PairModel Drawn(PairModel like, PairState state, PairOptics optics, PairModelGrade grade)
    {
        var model = new PairModel(optics, like.Modes, like.LargestDefocusNm, like.Team, grade);
        model.Evaluate(state);
        return model;
    }

    // Electrons that a pair's images gain, by image.
    private static float[][] Difference(JointFit fit, int p, PairModel changed, PairModel present) => [.. Enumerable.Range(0, 2).Select(k =>
    {
        float[] image = new float[fit.Weights[p][k].Length];
        ReadOnlySpan<float> with = changed.Pixels.Part(k), without = present.Pixels.Part(k);
        for (int i = 0; i < image.Length; i++)
        {
            image[i] = (float)fit.States[p].Flux[k] * (with[i] - without[i]);
        }

        return image;
    })];
}
