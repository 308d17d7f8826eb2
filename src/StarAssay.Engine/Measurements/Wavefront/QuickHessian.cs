using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.Wavefront;

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

    /// <summary>Prepares small models.</summary>
    /// <param name="optics">Of each pair.</param>
    /// <param name="modes">Modes of the fit.</param>
    /// <param name="largestDefocusNm">Largest W020 of each pair.</param>
    /// <param name="team">Workers.</param>
    public QuickHessian(PairOptics[] optics, IReadOnlyList<ZernikeIndex> modes, double[] largestDefocusNm, Team team)
    {
        this.team = team;
        models = new PairModel[optics.Length];
        data = new PairData[optics.Length];
        for (int p = 0; p < optics.Length; p++)
        {
            PairOptics full = optics[p];
            int window = Math.Min(full.Window, Fft.Padded((int)(WindowInDiscs * full.BlurPixels(largestDefocusNm[p])) + 8));
            PairOptics small = full with { WavelengthsNm = [full.MeanWavelengthNm], Weights = [1], Window = window };
            models[p] = new PairModel(small, modes, largestDefocusNm[p], team, PairModelGrade.Hessian);
            data[p] = new PairData(window);
        }
    }

    /// <summary>The matrix for the unknowns, weights and values that a fit has now.</summary>
    public Matrix<double> At(JointFit fit)
    {
        var small = new JointFit(models, data, [.. fit.States.Select(s => s.Copy())], team)
        {
            ModeCount = fit.ModeCount,
            SeparateSeeing = fit.SeparateSeeing,
            FitSeeing = fit.FitSeeing,
        };
        small.Refresh();
        small.WeightByMiddleOf(fit);
        Matrix<double> normal = small.NormalEquations().Normal;
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
