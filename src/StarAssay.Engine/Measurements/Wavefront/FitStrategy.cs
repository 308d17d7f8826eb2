using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>The way from starting values to the final fit: a scan over defocus and seeing, modes from low to high with weights
/// that first forgive a wrong model, masking of single wild pixels once the model holds, then as many orders as the data ask for.</summary>
internal sealed class FitStrategy
{
    private static readonly double[] DefocusFactors = [0.80, 0.86, 0.92, 0.97, 1.02, 1.08, 1.15, 1.23];

    private readonly JointFit fit;
    private readonly PairModel[] models;
    private readonly PairData[] data;
    private readonly WavefrontRequest request;

    public FitStrategy(JointFit fit, PairModel[] models, PairData[] data, WavefrontRequest request)
    {
        this.fit = fit;
        this.models = models;
        this.data = data;
        this.request = request;
    }

    /// <summary>Pixels masked as wild, per pair and image.</summary>
    public int Wild { get; private set; }

    /// <summary>Orders of modes that were tried and found not worth their unknowns.</summary>
    public bool StoppedEarly { get; private set; }

    /// <summary>Runs everything.</summary>
    public void Run(StarAssay.Engine.Results.RunContext context)
    {
        double given = request.SeeingArcsec;
        fit.FitSeeing = !request.HoldSeeing;
        Scan(request.HoldSeeing ? [given] : double.IsNaN(given) ? [1.2, 2.5, 4.5] : [given]);
        context.Report(0.2, "first look");
        int least = CountUpTo(request.LeastNoll);
        fit.ModeCount = 0;
        fit.Reweight(0.10);
        fit.Iterate(0.02, 6);
        fit.ModeCount = CountUpTo(11);
        fit.Reweight(0.05);
        fit.Iterate(0.01, 8);
        fit.ModeCount = least;
        fit.Reweight(0.03);
        fit.Iterate(0.005, 12);
        context.Report(0.5, "main modes");
        MaskWild();
        fit.Reweight(0.01);
        fit.Iterate(0.002, 12);
        Settle();
        MaskWild();
        Settle();
        context.Report(0.7, "higher modes");
        AddOrders(context);
        MaskWild();
        Settle();
        Settle();
        context.Report(0.85, "uncertainty");
    }

    /// <summary>Modes of the list up to a Noll number (the list starts at Noll 5).</summary>
    public static int CountUpTo(int noll) => noll - 4;

    private void Settle()
    {
        fit.Reweight(0);
        fit.Iterate(2e-6, 12);
    }

    // Defocus of each image and seeing on a coarse grid: a start 15 % off can end in a false minimum.
    private void Scan(double[] seeings)
    {
        for (int p = 0; p < models.Length; p++)
        {
            PairState start = fit.States[p];
            double[] best = [double.PositiveInfinity, double.PositiveInfinity];
            double[] defocus = new double[2];
            double[] strength = new double[2];
            foreach (double seeing in seeings)
            {
                double s = Strength(seeing, models[p].Optics.MeanWavelengthNm);
                foreach (double factor in DefocusFactors)
                {
                    PairState trial = start.Copy();
                    for (int k = 0; k < 2; k++)
                    {
                        trial.DefocusNm[k] = factor * start.DefocusNm[k];
                        trial.Seeing[k] = s;
                    }

                    models[p].Evaluate(trial);
                    for (int k = 0; k < 2; k++)
                    {
                        double cost = Mismatch(models[p], data[p], k);
                        if (cost < best[k])
                        {
                            (best[k], defocus[k], strength[k]) = (cost, trial.DefocusNm[k], s);
                        }
                    }
                }
            }

            for (int k = 0; k < 2; k++)
            {
                start.DefocusNm[k] = defocus[k];
                start.Seeing[k] = 0.5 * (strength[0] + strength[1]);
            }
        }

        fit.Refresh();
        fit.Reweight(0.2);
        fit.SolveLight();
    }

    /// <summary>(D/r0)^(5/3) of a seeing FWHM in arcsec.</summary>
    public double Strength(double arcsec, double wavelengthNm)
    {
        double r0 = 0.9758634 * wavelengthNm * 1e-6 / (arcsec * Math.PI / 648000);
        return arcsec <= 0 ? 0 : Math.Pow(request.ApertureMm / r0, 5.0 / 3.0);
    }

    /// <summary>Seeing FWHM in arcsec of a strength.</summary>
    public double Arcsec(double strength, double wavelengthNm) =>
        0.9758634 * wavelengthNm * 1e-6 / request.ApertureMm * Math.Pow(Math.Max(strength, 0), 0.6) * 648000 / Math.PI;

    private static double Mismatch(PairModel model, PairData data, int k)
    {
        ReadOnlySpan<float> unit = k == 0 ? model.Pixels.Re : model.Pixels.Im;
        float[] d = data.Electrons[k];
        float[] use = data.Use[k];
        (double n, double u, double v, double uu, double uv, double vv) = (0, 0, 0, 0, 0, 0);
        for (int i = 0; i < d.Length; i++)
        {
            if (use[i] != 0)
            {
                n++;
                u += unit[i];
                v += d[i];
                uu += (double)unit[i] * unit[i];
                uv += (double)unit[i] * d[i];
                vv += (double)d[i] * d[i];
            }
        }

        double cuu = uu - (u * u / n);
        double cuv = uv - (u * v / n);
        double cvv = vv - (v * v / n);
        return cuv <= 0 || cuu <= 0 ? double.MaxValue : cvv - (cuv * cuv / cuu);
    }

    // A pixel is wild when it stands out from the model and from the other residuals round it: a wrong model makes patterns,
    // a hot pixel or a particle makes points and short lines.
    private void MaskWild()
    {
        for (int p = 0; p < data.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                Wild += MaskWild(fit.Residual(p, k), data[p].Use[k], data[p].Window);
            }
        }
    }

    private static int MaskWild(float[] residual, float[] use, int w)
    {
        double[] used = [.. residual.Where((_, i) => use[i] != 0).Select(r => (double)r)];
        (_, double sigma) = Robust.MedianAndSigma(used);
        double limit = 6 * Math.Max(sigma, 1);
        var wild = new List<int>();
        var near = new List<double>(48);
        for (int j = 0; j < w; j++)
        {
            for (int i = 0; i < w; i++)
            {
                int at = (j * w) + i;
                if (use[at] == 0 || Math.Abs(residual[at]) < limit)
                {
                    continue;
                }

                near.Clear();
                for (int b = Math.Max(0, j - 3); b <= Math.Min(w - 1, j + 3); b++)
                {
                    for (int a = Math.Max(0, i - 3); a <= Math.Min(w - 1, i + 3); a++)
                    {
                        int q = (b * w) + a;
                        if (q != at && use[q] != 0)
                        {
                            near.Add(residual[q]);
                        }
                    }
                }

                (double middle, double spread) = Robust.MedianAndSigma([.. near]);
                if (Math.Abs(residual[at] - middle) > 6 * Math.Max(spread, 1))
                {
                    wild.Add(at);
                }
            }
        }

        foreach (int at in wild)
        {
            use[at] = 0;
        }

        return wild.Count;
    }

    private void AddOrders(StarAssay.Engine.Results.RunContext context)
    {
        int have = request.LeastNoll;
        int misses = 0;
        int best = fit.ModeCount;
        PairState[] bestStates = [.. fit.States.Select(s => s.Copy())];
        double bestScore = Score();
        while (have < request.MostNoll && misses < 2)
        {
            // The next full radial order.
            int n = ZernikeIndex.FromNoll(have + 1).N;
            int next = Math.Min(request.MostNoll, (n + 1) * (n + 2) / 2);
            fit.ModeCount = CountUpTo(next);
            fit.Iterate(2e-6, 8);
            have = next;
            double score = Score();
            if (score < bestScore)
            {
                (best, bestScore, misses) = (fit.ModeCount, score, 0);
                bestStates = [.. fit.States.Select(s => s.Copy())];
            }
            else
            {
                misses++;
            }

            context.Cancel.ThrowIfCancellationRequested();
        }

        StoppedEarly = best < CountUpTo(request.MostNoll);
        foreach (PairState s in bestStates)
        {
            for (int j = best; j < s.CoefficientsNm.Length; j++)
            {
                s.CoefficientsNm[j] = 0;
            }
        }

        fit.ModeCount = best;
        fit.Restore(bestStates);
    }

    // Akaike's criterion with the noise scaled to the misfit, so that a wrong model does not call for ever more modes.
    private double Score()
    {
        double points = fit.Points;
        return points * Math.Log(fit.Chi2 / points) + (2 * fit.Unknowns);
    }
}
