using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Measurements.Wavefront.SecondOpinion;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Asks the independent linear method about the same pixels and compares.</summary>
internal static class SecondOpinions
{
    public static SecondOpinionResult? Ask(WavefrontRequest request, PairPreparation[] prepared, FitRun run, double[] c, Matrix<double> covariance, List<Note> notes, RunContext context)
    {
        const int Last = 22;
        int shared = Math.Min(c.Length, Last - 4);
        double[] sum = new double[c.Length];
        double[] variance = new double[c.Length];
        try
        {
            for (int p = 0; p < prepared.Length; p++)
            {
                TransportEstimate estimate = TransportMethod.Estimate(RequestFor(request, prepared[p], run, p), context);
                for (int i = 0; i < estimate.Noll.Length; i++)
                {
                    int j = estimate.Noll[i] - 5;
                    if (j >= 0 && j < shared)
                    {
                        sum[j] += estimate.CoefficientNm[i] / prepared.Length;
                        variance[j] += estimate.UncertaintyNm[i] * estimate.UncertaintyNm[i] / prepared.Length;
                    }
                }
            }
        }
        catch (StarAssayException error)
        {
            notes.Add(WavefrontNotes.NoSecondOpinion.Say($"The independent linear method could not be applied: {error.Message}"));
            return null;
        }

        double difference = 0;
        double expected = 0;
        for (int j = 0; j < shared; j++)
        {
            difference += Math.Pow(sum[j] - c[j], 2);
            expected += variance[j] + covariance[j, j];
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
                $"The fit and the independent linear method differ by {difference:F1} nm RMS, where their bars allow {expected:F1} nm: not decided. Look at the residual images and take more pairs."));
        }

        return new SecondOpinionResult(
            [.. sum.Select((v, j) => j < shared ? v : double.NaN)],
            [.. variance.Select((v, j) => j < shared ? Math.Sqrt(v) : double.NaN)], difference, expected, agrees);
    }

    private static TransportRequest RequestFor(WavefrontRequest request, PairPreparation pair, FitRun run, int p)
    {
        PairState s = run.Fit.States[p];
        double umPerNm = 8e-3 * request.FocalRatio * request.FocalRatio;
        double seeing = run.Strategy.Arcsec(0.5 * (s.Seeing[0] + s.Seeing[1]), run.Models[p].Optics.MeanWavelengthNm);
        double blur = seeing * Math.PI / 648000 * request.FocalLengthMm * 1e3 / pair.PitchUm;
        double jitter = 2.3548 * Math.Sqrt(run.Models[p].Optics.JitterPx2);
        return new TransportRequest
        {
            Inside = ImageOf(pair, run, p, 0, s.DefocusNm[0] * umPerNm),
            Outside = ImageOf(pair, run, p, 1, s.DefocusNm[1] * umPerNm),
            Pupil = request.Pupil,
            FocalRatio = request.FocalRatio,
            PitchUm = pair.PitchUm,
            WavelengthNm = run.Models[p].Optics.MeanWavelengthNm,
            BlurFwhmPixels = Math.Sqrt((blur * blur) + (jitter * jitter)),
        };
    }

    private static TransportImage ImageOf(PairPreparation pair, FitRun run, int p, int k, double defocusUm)
    {
        int w = pair.Data.Window;
        float back = (float)run.Fit.States[p].Background[k];
        float[] model = run.Fit.ModelElectrons(p, k);
        return new TransportImage(
            [.. pair.Data.Electrons[k].Select(v => v - back)],
            [.. pair.Data.BaseVariance[k].Select((v, i) => v + Math.Max(0, model[i] - back))],
            [.. pair.Data.Use[k].Select(u => u == 0)], w, w, defocusUm);
    }
}
