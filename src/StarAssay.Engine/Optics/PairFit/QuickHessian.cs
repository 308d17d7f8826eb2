using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>
/// J^T W J good to a few per cent for a small part of the price: the mean wavelength alone, a coarser pupil, and only the
/// pixels in and round the disc. A step that it makes with an exact gradient misses the minimum by a few per cent of its
/// length, so two or three of them end where exact ones would.
/// </summary>
internal sealed class QuickHessian : IDisposable
{
    private const double WindowInDiscs = 1.25;

    private readonly PairModel[] models;
    private readonly PairData[] data;
    private readonly Team team;
    private JointFit? small;

    /// <summary>Prepares small models.</summary>
    /// <param name="like">Models of the fit, one a pair.</param>
    /// <param name="team">Workers.</param>
    public QuickHessian(PairModel[] like, Team team)
    {
        this.team = team;
        models = new PairModel[like.Length];
        data = new PairData[like.Length];
        for (int p = 0; p < like.Length; p++)
        {
            PairOptics full = like[p].Optics;
            double defocus = like[p].LargestDefocusNm;
            int window = Math.Min(full.Window, Fft.Padded((int)(WindowInDiscs * full.BlurPixels(defocus)) + 8));
            PairOptics small = full with { WavelengthsNm = [full.MeanWavelengthNm], Weights = [1], Window = window };
            models[p] = new PairModel(small, like[p].Modes, defocus, team, PairModelGrade.Steps);
            data[p] = new PairData(window, models[p].Memory);
        }
    }

    /// <summary>The matrix for the unknowns, weights and values that a fit has now.</summary>
    public Matrix<double> At(JointFit fit)
    {
        PairState[] states = [.. fit.States.Select(s => s.Copy())];
        small ??= new JointFit(models, data, states, team);
        small.ModeCount = fit.ModeCount;
        small.SeparateSeeing = fit.SeparateSeeing;
        small.FitSeeing = fit.FitSeeing;
        small.WeightByMiddleOf(fit);
        small.Place(states);
        Matrix<double> normal = small.Derivatives.NormalMatrix();
        fit.Derivatives.AddLightOutside(normal, data);
        return normal;
    }

    /// <inheritdoc/>
    public void Dispose()
    {
        foreach (PairModel model in models)
        {
            model.Dispose();
        }
    }
}
