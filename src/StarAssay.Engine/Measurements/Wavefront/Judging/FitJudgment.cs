using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>How far a finished fit can be trusted: its covariance, part by part, and what other ways of asking say.</summary>
/// <param name="Surface">The map's geometry for the fitted modes.</param>
/// <param name="Inverse">Inverse of the normal matrix of all unknowns.</param>
/// <param name="Inflation">Factor on it for misfit.</param>
/// <param name="FromFit">Covariance of the modes from photons, read noise and misfit, nm^2.</param>
/// <param name="Random">What of the modes' covariance averages out over more pairs, nm^2.</param>
/// <param name="Covariance">Covariance of the modes with every part, nm^2.</param>
/// <param name="Widened">True when the pairs scattered more than the budget says and widened the bars.</param>
/// <param name="Budget">The parts.</param>
/// <param name="Alone">Each pair fitted alone, when there are several.</param>
/// <param name="Opinion">The second opinion; null when it could not be made.</param>
internal sealed record FitJudgment(MapMaker Surface, Matrix<double> Inverse, double Inflation, Matrix<double> FromFit, Matrix<double> Random,
    Matrix<double> Covariance, bool Widened, IReadOnlyList<WavefrontBudgetLine> Budget, PairAlone[] Alone, SecondOpinionResult? Opinion)
{
    /// <summary>Asks everything there is to ask, with refits where needed, and adds what is to be said to the notes.</summary>
    public static FitJudgment Make(WavefrontRequest request, PairPreparation[] prepared, FitRun run, List<Note> notes, Team team, RunContext context)
    {
        JointFit fit = run.Fit;
        int count = fit.ModeCount;
        Matrix<double> inverse = fit.Derivatives.NormalMatrix().Inverse();
        double inflation = Uncertainties.Inflation(fit, prepared, run.ChiSquared);
        Matrix<double> fromFit = inverse.SubMatrix(0, count, 0, count) * inflation;
        double[] c = fit.States[0].CoefficientsNm[..count];
        double wavelength = run.Models[0].Optics.MeanWavelengthNm;
        var surface = new MapMaker(request.Pupil, run.Modes[..count], request.MapSize);
        (Matrix<double> covariance, Matrix<double> random, List<WavefrontBudgetLine> budget) =
            Uncertainties.Combine(request, prepared, run, surface, fromFit, inverse, inflation, wavelength, team);

        // The linear method does not suffer from finer modes as the fit does: a difference that they make is to be said.
        Matrix<double> forComparison = covariance;
        covariance = FinerModes.Add(request, run, c, fromFit, covariance, surface, wavelength, budget, notes);
        PairAlone[] alone = PairsAlone.Fit(run, surface, team, context);
        Matrix<double> narrow = covariance;
        covariance = Uncertainties.WidenToScatter(alone, covariance, surface, count, budget, notes);

        // What the pairs' scatter adds to the bars is random by its nature.
        random += covariance - narrow;
        SecondOpinionResult? opinion = SecondOpinions.Ask(request, prepared, run, c, forComparison, notes, context);
        return new FitJudgment(surface, inverse, inflation, fromFit, random, covariance, !ReferenceEquals(narrow, covariance), budget, alone, opinion);
    }
}
