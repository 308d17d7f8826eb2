using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Turns a finished fit into the result record.</summary>
internal static class ResultMaker
{
    public static WavefrontFit Make(WavefrontRequest request, PairPreparation[] prepared, FitRun run, List<Note> notes, Team team, RunContext context)
    {
        JointFit fit = run.Fit;
        int count = fit.ModeCount;
        ZernikeIndex[] modes = run.Modes[..count];
        Matrix<double> normal = fit.NormalMatrix();
        double freedom = Math.Max(1, fit.Points - fit.Unknowns);
        double chi2 = fit.Chi2 / freedom;
        Matrix<double> inverse = normal.Inverse();
        double inflation = Uncertainties.Inflation(fit, prepared, chi2);
        Matrix<double> fromFit = inverse.SubMatrix(0, count, 0, count) * inflation;
        double[] c = fit.States[0].CoefficientsNm[..count];
        double wavelength = run.Models[0].Optics.MeanWavelengthNm;
        var surface = new MapMaker(request.Pupil, modes, request.MapSize);
        (Matrix<double> covariance, List<BudgetLine> budget) = Uncertainties.Combine(request, prepared, run, surface, fromFit, inverse, inflation, wavelength, team);

        // The linear method does not suffer from finer modes as the fit does: a difference that they make is to be said.
        Matrix<double> forComparison = covariance;
        covariance = FinerModes.Add(request, run, c, fromFit, covariance, surface, wavelength, budget, notes);
        PairAlone[] alone = Uncertainties.PairsAlone(request, prepared, run, surface, team, context);
        covariance = Uncertainties.WidenToScatter(alone, covariance, surface, c, wavelength, budget, notes);
        MapFigures figures = surface.Figures(c, covariance, wavelength);
        SecondOpinionResult? opinion = SecondOpinions.Ask(request, prepared, run, c, forComparison, notes, context);
        Measured[] seeing = new Measured[request.Frames.Count];
        FittedImage[] images = new FittedImage[request.Frames.Count];
        for (int p = 0; p < prepared.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                images[(2 * p) + k] = Image(request, prepared[p], run, p, k, inverse, inflation);
                double s = fit.States[p].Seeing[k];
                double arcsec = run.Strategy.Arcsec(s, wavelength);
                int at = fit.PairOffset(p) + (fit.SeparateSeeing ? k : 0);
                double us = fit.FitSeeing ? Math.Sqrt(Math.Max(0, inverse[at, at] * inflation)) : double.NaN;
                seeing[(2 * p) + k] = new Measured(arcsec, s > 0 ? 0.6 * arcsec * us / s : double.NaN, "arcsec");
            }
        }

        context.Report(1, "done");
        return new WavefrontFit
        {
            Noll = [.. modes.Select(m => m.Noll)],
            Osa = [.. modes.Select(m => m.Osa)],
            Name = [.. modes.Select(m => m.Name)],
            CoefficientNm = c,
            UncertaintyNm = [.. Enumerable.Range(0, count).Select(j => Math.Sqrt(covariance[j, j]))],
            FitUncertaintyNm = [.. Enumerable.Range(0, count).Select(j => Math.Sqrt(fromFit[j, j]))],
            CovarianceNm2 = covariance.ToArray(),
            Words = [.. modes.Select((m, j) => PlainWords.Of(m, c, modes, Math.Sqrt(covariance[j, j])))],
            Rms = figures.Rms,
            Pv = figures.Pv,
            PvBiasNm = figures.PvBiasNm,
            Strehl = figures.Strehl,
            StrehlFromRms = figures.StrehlFromRms,
            MapNm = figures.Map,
            MapOpen = surface.Open,
            MapUncertaintyNm = figures.MapUncertainty,
            WavelengthNm = wavelength,
            FocalRatio = request.FocalRatio,
            Seeing = seeing,
            Images = images,
            ChiSquared = chi2,
            Points = (int)fit.Points,
            Iterations = fit.Iterations,
            MapErrorNm = Math.Sqrt((surface.GramMatrix * fromFit).Trace()),
            SecondOpinion = opinion,
            PairsAlone = alone,
            Budget = budget,
            Decided = notes.All(n => n.Level != NoteLevel.Doubt),
            Notes = [.. notes.OrderByDescending(n => n.Level)],
        };
    }

    private static FittedImage Image(WavefrontRequest request, PairPreparation prepared, FitRun run, int p, int k, Matrix<double> inverse, double inflation)
    {
        int w = prepared.Data.Window;
        PairState s = run.Fit.States[p];
        int o = run.Fit.ImageOffset(p, k);
        double Sigma(int i) => Math.Sqrt(inverse[i, i] * inflation);
        double umPerNm = 8 * request.FocalRatio * request.FocalRatio * 1e-3;
        double wavelength = run.Models[p].Optics.MeanWavelengthNm;
        bool[,] masked = new bool[w, w];
        for (int i = 0; i < w * w; i++)
        {
            masked[i / w, i % w] = prepared.Data.Use[k][i] == 0;
        }

        return new FittedImage(
            request.Frames[(2 * p) + k].Name, prepared.Origins[k].X, prepared.Origins[k].Y, prepared.Bin,
            Square(prepared.Data.Electrons[k], w), Square(run.Fit.ModelElectrons(p, k), w), Square(run.Fit.Residual(p, k), w), masked,
            new Measured(run.Models[p].Optics.DistanceUm(s.DefocusNm[k], request.FocalLengthMm), Sigma(o) * umPerNm, "um"), s.DefocusNm[k] / wavelength,
            new Measured(s.Flux[k], Sigma(o + 3), "electron"), new Measured(s.Background[k], Sigma(o + 4), "electron"));
    }

    private static float[,] Square(float[] values, int w)
    {
        float[,] square = new float[w, w];
        Buffer.BlockCopy(values, 0, square, 0, w * w * sizeof(float));
        return square;
    }
}
