using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Measurements.Wavefront.SecondOpinion;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Asks the independent linear method about the same pixels and compares.</summary>
internal static class SecondOpinions
{
    /// <summary>Fewest modes of the linear method, whatever the fit stopped at: the next order shows a fit that stopped too early.</summary>
    private const int LeastNoll = 28;

    public static SecondOpinionResult? Ask(WavefrontRequest request, PairPreparation[] prepared, FitRun run, double[] c, Matrix<double> covariance,
        List<Note> notes, RunContext context)
    {
        // With fewer modes than the wavefront has, the linear method takes the missing ones for lower ones. Modes finer than it can
        // solve for are therefore taken from the fit.
        int count = Math.Clamp(c.Length, FitModes.CountUpTo(LeastNoll), FitModes.CountUpTo(FitModes.LastPlainNoll));
        double[] mean = new double[count];
        double[] noise = new double[count];
        double[] method = new double[count];
        try
        {
            for (int p = 0; p < prepared.Length; p++)
            {
                TransportEstimate estimate = TransportMethod.Estimate(RequestFor(request, prepared[p], run, p, count), context);
                for (int j = 0; j < count; j++)
                {
                    // The estimate's first mode is Noll 4. Noise is averaged by several pairs, the method's own error is not.
                    mean[j] += estimate.CoefficientNm[j + 1] / prepared.Length;
                    noise[j] += Math.Pow(estimate.NoiseNm[j + 1] / prepared.Length, 2);
                    method[j] += estimate.MethodNm / prepared.Length;
                }
            }
        }
        catch (StarAssayException error)
        {
            notes.Add(WavefrontNotes.NoSecondOpinion.Say($"The independent linear method could not be applied: {error.Message}"));
            return null;
        }

        // A mode that the fit left out counts as zero there: leaving it out is a claim too.
        double difference = 0;
        double expected = 0;
        double[] bar = new double[Math.Max(count, c.Length)];
        double[] found = new double[Math.Max(count, c.Length)];
        Array.Fill(bar, double.NaN);
        Array.Fill(found, double.NaN);
        for (int j = 0; j < count; j++)
        {
            double own = noise[j] + (method[j] * method[j]);
            (found[j], bar[j]) = (mean[j], Math.Sqrt(own));
            difference += Math.Pow(mean[j] - (j < c.Length ? c[j] : 0), 2);
            expected += own + (j < c.Length ? covariance[j, j] : 0);
        }

        difference = Math.Sqrt(difference);
        expected = Math.Sqrt(expected);
        bool agrees = difference <= 2 * expected;
        if (!double.IsFinite(difference))
        {
            notes.Add(WavefrontNotes.NoSecondOpinion.Say("The independent linear method gave no answer on these images."));
            return null;
        }

        if (!agrees)
        {
            notes.Add(WavefrontNotes.MethodsDisagree.Say(
                $"The fit and the independent linear method differ by {difference:F1} nm RMS, where their bars allow {expected:F1} nm: not decided. Look at " +
                    "the residual images and take more pairs."));
        }

        return new SecondOpinionResult(found[..c.Length], bar[..c.Length], difference, expected, agrees);
    }

    private static TransportRequest RequestFor(WavefrontRequest request, PairPreparation pair, FitRun run, int p, int count)
    {
        PairState s = run.Fit.States[p];
        float[][] round = Round(run, p);
        PairOptics optics = run.Models[p].Optics;
        double seeing = Seeing.FwhmFromStrength(0.5 * (s.Seeing[0] + s.Seeing[1]), optics.MeanWavelengthNm, request.ApertureMm);
        double blur = seeing / PixelScale.ArcsecPerPx(optics.PitchUm, request.FocalLengthMm);
        double jitter = 2.3548 * Math.Sqrt(optics.JitterPx2);
        return new TransportRequest
        {
            Inside = ImageOf(pair, run, p, 0, round[0], optics.DistanceUm(s.DefocusNm[0], request.FocalLengthMm)),
            Outside = ImageOf(pair, run, p, 1, round[1], optics.DistanceUm(s.DefocusNm[1], request.FocalLengthMm)),
            Pupil = optics.Shape,
            FocalRatio = request.FocalRatio,
            FocalLengthMm = request.FocalLengthMm,
            PitchUm = optics.PitchUm,
            WavelengthNm = optics.MeanWavelengthNm,
            LastNoll = count + 4,
            KnownNm = run.Fit.ModeCount <= count ? null
                : (x, y) => Enumerable.Range(count, run.Fit.ModeCount - count).Sum(j => s.CoefficientsNm[j] * run.Modes.Evaluate(j, x, y)),
            BlurFwhmPixels = Math.Sqrt((blur * blur) + (jitter * jitter)),
        };
    }

    // What takes the trails out of a pair: the method's blur is alike in all directions.
    private static float[][] Round(FitRun run, int p)
    {
        PairState trailed = run.Fit.States[p], round = trailed.Copy();
        for (int k = 0; k < 2; k++)
        {
            round.Trails[k] = default;
        }

        PairModel model = run.Models[p];
        float[][] before = [run.Fit.ModelElectrons(p, 0), run.Fit.ModelElectrons(p, 1)];
        model.Evaluate(round);
        float[][] after = [run.Fit.ModelElectrons(p, 0), run.Fit.ModelElectrons(p, 1)];
        model.Evaluate(trailed);
        return [.. after.Zip(before, (a, b) => a.Zip(b, (x, y) => x - y).ToArray())];
    }

    // Pixels that do not count take the fit's value: neighbors cannot tell the height of a ring that was clipped.
    private static TransportImage ImageOf(PairPreparation pair, FitRun run, int p, int k, float[] round, double defocusUm)
    {
        int w = pair.Data.Window;
        float back = (float)run.Fit.States[p].Background[k];
        float[] model = run.Fit.ModelElectrons(p, k);
        return new TransportImage(
            [.. pair.Data.Electrons[k].Select((v, i) => (pair.Data.Use[k][i] == 0 ? model[i] : v) + round[i] - back)],
            [.. pair.Data.BaseVariance[k].Select((v, i) => v + Math.Max(0, model[i] - back))],
            new bool[w * w], w, w, defocusUm);
    }
}
