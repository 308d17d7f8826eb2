using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>How far a finished fit can be trusted: its covariance, part by part, and what other ways of asking say.</summary>
/// <param name="Surface">The map's geometry for the fitted modes.</param>
/// <param name="Inverse">Inverse of the normal matrix of all unknowns.</param>
/// <param name="Inflation">Factor on it for misfit.</param>
/// <param name="Photons">Covariance of the modes from photons and read noise alone, nm^2.</param>
/// <param name="FromFit">Covariance of the modes from photons, read noise and misfit, nm^2.</param>
/// <param name="Random">What of the modes' covariance averages out over more pairs, nm^2.</param>
/// <param name="Covariance">Covariance of the modes with every part, nm^2.</param>
/// <param name="Widened">True when the pairs scattered more than the budget says and widened the bars.</param>
/// <param name="Unseen">Power that the modes cannot show.</param>
/// <param name="Budget">The parts.</param>
/// <param name="Alone">Each pair fitted alone, when there are several.</param>
/// <param name="OwnVariance">Variance of each mode in one pair by photons and misfit, nm^2.</param>
/// <param name="AirVariance">The same by the air that its exposures leave.</param>
/// <param name="Opinion">The second opinion; null when it could not be made.</param>
internal sealed record FitJudgment(MapMaker Surface, Matrix<double> Inverse, double Inflation, Matrix<double> Photons, Matrix<double> FromFit,
    Matrix<double> Random, Matrix<double> Covariance, bool Widened, UnseenPower Unseen, IReadOnlyList<WavefrontBudgetLine> Budget, PairAlone[] Alone,
        double[] OwnVariance, double[] AirVariance, SecondOpinionResult? Opinion)
{
    /// <summary>Asks everything there is to ask, with refits where needed, and adds what is to be said to the notes.</summary>
    public static FitJudgment Make(WavefrontRequest request, PairPreparation[] prepared, FitRun run, NuisanceFit beside, List<Note> notes, Team team,
        RunContext context)
    {
        JointFit fit = run.Fit;
        int count = fit.ModeCount;
        (Matrix<double> normal, Matrix<double> inverse, double inflation) = (beside.Normal, beside.Inverse, beside.Inflation);
        Matrix<double> photons = inverse.SubMatrix(0, count, 0, count);
        // The slope of each image's sky is fitted as its level is.
        Matrix<double> fromFit = (photons * inflation) + beside.Open(Nuisance.Sky);
        double[] c = fit.States[0].CoefficientsNm[..count];
        double wavelength = run.StatedWavelengthNm;
        var surface = new MapMaker(request.Pupil, run.Modes, count, request.MapSize);
        var parts = new UncertaintyParts(surface, c, wavelength);
        Uncertainties.Combine(parts, request, run, beside, fromFit);

        // Of a mean over the pairs so far, and so many times as much in one of them.
        int pairs = prepared.Length;
        double[] own = [.. fromFit.Diagonal().Select(v => v * pairs)], air = [.. parts.Random.Diagonal().Select((v, j) => (v * pairs) - own[j])];
        PairAlone[] alone = PairsAlone.Fit(run, surface, request.FocalLengthMm, team, context);

        // What does not fit since the pairs differ is no scatter of a single one.
        double single = alone.Length > 1 ? Math.Min(1, alone.Average(a => a.ChiSquared) / run.ChiSquared) : 1;
        own = [.. own.Select(v => v * single)];
        bool widened = PairScatter.Widen(parts, alone, notes);

        // The linear method does not suffer from finer modes as the fit does: a difference that they make is to be said.
        Matrix<double> forComparison = parts.Covariance;
        FinerModes.Add(parts, request, run, fromFit, notes);
        UnseenPower unseen = UnseenPower.From(normal, run.Modes, count, fit.Chi2, fit.Freedom);
        if (unseen.BoundNm2 > 0)
        {
            parts.Budget.Add(surface.LineOf(unseen, c, wavelength));
        }

        parts.NameTheRest(request);
        SecondOpinionResult? opinion = SecondOpinions.Ask(request, prepared, run, c, forComparison, notes, context);
        return new FitJudgment(surface, inverse, inflation, photons, fromFit, parts.Random, parts.Covariance, widened, unseen, parts.Budget, alone, own, air,
            opinion);
    }
}
