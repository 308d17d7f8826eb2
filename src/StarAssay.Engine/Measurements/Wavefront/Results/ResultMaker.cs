using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Turns a finished and judged fit into the result record.</summary>
internal static class ResultMaker
{
    public static WavefrontFit Make(WavefrontRequest request, PairPreparation[] prepared, FitRun run, FitJudgment judgment, List<Note> notes)
    {
        JointFit fit = run.Fit;
        int count = fit.ModeCount;
        ZernikeIndex[] modes = [.. run.Modes.Take(count)];
        Matrix<double> covariance = judgment.Covariance;
        double[] c = fit.States[0].CoefficientsNm[..count];
        double wavelength = run.StatedWavelengthNm;
        MapFigures figures = judgment.Surface.Figures(c, covariance, judgment.Photons, judgment.Unseen, wavelength);
        Measured[] seeing = new Measured[request.Frames.Count];
        FittedImage[] images = new FittedImage[request.Frames.Count];
        for (int p = 0; p < prepared.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                images[(2 * p) + k] = Image(request, prepared[p], run, p, k, judgment);
                double s = fit.States[p].Seeing[k];
                double arcsec = Seeing.FwhmFromStrength(s, wavelength, request.ApertureMm);
                double us = fit.FitSeeing ? Sigma(judgment, fit.Unknowns.Seeing(p, k)) : double.NaN;
                seeing[(2 * p) + k] = new Measured(arcsec, s > 0 ? 0.6 * arcsec * us / s : double.NaN, "arcsec");
            }
        }

        int[] noll = [.. modes.Select(m => m.Noll)];
        WavefrontCourse? course = CourseNotes.Follow(request, images, judgment, c, figures.Rms, notes);
        AberrationFamily[] annular = [];
        double[] annularRandom = [];
        if (request.Pupil.Obstruction > 0)
        {
            Matrix<double> turn = AnnularShapes.From(run.Modes, count, request.Pupil.Obstruction);
            double[] ring = (turn * Vector<double>.Build.DenseOfArray(c)).ToArray();
            double[] Bars(Matrix<double> part) => [.. (turn * part * turn.Transpose()).Diagonal().Select(v => Math.Sqrt(Math.Max(0, v)))];
            annular = [.. AberrationFamilies.Of(noll, ring, Bars(covariance), Bars(judgment.Photons))];
            double[] random = Bars(judgment.Random);
            annularRandom = [.. annular.Select(f => WavefrontFigures.RandomPartOf(noll, ring, random, f.Name))];
        }

        return new WavefrontFit
        {
            AnnularFamilies = annular,
            AnnularRandomUncertaintyNm = annularRandom,
            Noll = noll,
            Osa = [.. modes.Select(m => m.Osa)],
            Mode = [.. modes.Select(m => m.Name)],
            CoefficientNm = c,
            UncertaintyNm = [.. Enumerable.Range(0, count).Select(j => Math.Sqrt(covariance[j, j]))],
            FitUncertaintyNm = [.. Enumerable.Range(0, count).Select(j => Math.Sqrt(judgment.FromFit[j, j]))],
            PhotonUncertaintyNm = [.. Enumerable.Range(0, count).Select(j => Math.Sqrt(judgment.Photons[j, j]))],
            RandomUncertaintyNm = [.. Enumerable.Range(0, count).Select(j => Math.Sqrt(judgment.Random[j, j]))],
            Widened = judgment.Widened,
            CovarianceNm2 = covariance.ToArray(),
            Words = [.. modes.Select((m, j) => PlainWords.Of(m, c, modes, Math.Sqrt(covariance[j, j])))],
            Rms = figures.Rms,
            Pv = figures.Pv,
            PvBiasNm = figures.PvBiasNm,
            Strehl = figures.Strehl,
            StrehlFromRms = figures.StrehlFromRms,
            MapNm = figures.Map,
            MapOpen = judgment.Surface.Open,
            MapUncertaintyNm = figures.MapUncertainty,
            WavelengthNm = wavelength,
            FocalRatio = request.FocalRatio,
            Seeing = seeing,
            Images = images,
            ChiSquared = run.ChiSquared,
            Points = (int)fit.Points,
            Iterations = fit.Iterations,
            MapErrorNm = Math.Sqrt((judgment.Surface.GramMatrix * judgment.FromFit).Trace()),
            SecondOpinion = judgment.Opinion,
            PairsAlone = judgment.Alone,
            Course = course,
            Budget = judgment.Budget,
            Decided = notes.All(n => n.Level != NoteLevel.Doubt),
            Notes = [.. notes.OrderByDescending(n => n.Level)],
        };
    }

    private static FittedImage Image(WavefrontRequest request, PairPreparation prepared, FitRun run, int p, int k, FitJudgment judgment)
    {
        int w = prepared.Data.Window;
        PairState s = run.Fit.States[p];
        FitUnknowns at = run.Fit.Unknowns;
        double umPerNm = 8 * request.FocalRatio * request.FocalRatio * 1e-3;
        double wavelength = run.StatedWavelengthNm;
        bool[,] masked = new bool[w, w];
        for (int i = 0; i < w * w; i++)
        {
            masked[i / w, i % w] = prepared.Data.Use[k][i] == 0;
        }

        return new FittedImage(
            request.Frames[(2 * p) + k].Name, prepared.Origins[k].X, prepared.Origins[k].Y, prepared.Bin,
            Square(prepared.Data.Electrons[k], w), Square(run.Fit.ModelElectrons(p, k), w), Square(run.Fit.Residuals[p][k], w), masked,
            new Measured(run.Models[p].Optics.DistanceUm(s.DefocusNm[k], request.FocalLengthMm), Sigma(judgment, at.Image(p, k)) * umPerNm, "um"),
            s.DefocusNm[k] / wavelength,
            new Measured(s.Flux[k], Sigma(judgment, at.Light(p, k)), "electron"),
            new Measured(s.Background[k], Sigma(judgment, at.Background(p, k)), "electron"));
    }

    private static double Sigma(FitJudgment judgment, int unknown) =>
        Math.Sqrt(judgment.Inverse[unknown, unknown] * judgment.Inflation);

    private static float[,] Square(float[] values, int w)
    {
        float[,] square = new float[w, w];
        Buffer.BlockCopy(values, 0, square, 0, w * w * sizeof(float));
        return square;
    }
}
