using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// J^T W J for a part of the price of <see cref="JointFit.NormalEquations"/>: on a coarser pupil and in a smaller window, since
/// neither a step nor an uncertainty needs seven figures.
/// </summary>
/// <remarks>With <see cref="PairModelGrade.Steps"/> (mean wavelength alone, the pixels in and round the disc) a step that is made
/// with an exact gradient misses the minimum by a few per cent of its length, so two or three of them end where exact ones would.
/// With <see cref="PairModelGrade.Covariance"/> the inverse gives standard uncertainties that differ from the exact ones by a few
/// parts in a thousand.</remarks>
internal sealed class Hessian : IDisposable
{
    private readonly PairModel[] models;
    private readonly PairData[] data;
    private readonly Team team;
    private JointFit? small;

    /// <summary>Prepares small models.</summary>
    /// <param name="like">Models of the fit, one a pair.</param>
    /// <param name="team">Workers.</param>
    /// <param name="grade">How finely: for steps or for the covariance.</param>
    public Hessian(PairModel[] like, Team team, PairModelGrade grade = PairModelGrade.Steps)
    {
        this.team = team;
        models = new PairModel[like.Length];
        data = new PairData[like.Length];
        double discs = grade == PairModelGrade.Steps ? 1.25 : 1.5;
        for (int p = 0; p < like.Length; p++)
        {
            PairOptics full = like[p].Optics;
            double defocus = like[p].LargestDefocusNm;
            int window = Math.Min(full.Window, Fft.Padded((int)(discs * full.BlurPixels(defocus)) + 8));
            PairOptics small = full with { Window = window };
            if (grade == PairModelGrade.Steps)
            {
                small = small with { WavelengthsNm = [full.MeanWavelengthNm], Weights = [1] };
            }

            models[p] = new PairModel(small, like[p].Modes, defocus, team, grade);
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
        small.Restore(states);
        Matrix<double> normal = small.NormalMatrix();
        fit.AddLightOutside(normal, data);
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
