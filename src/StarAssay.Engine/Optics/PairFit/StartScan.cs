namespace StarAssay.Engine.Optics.PairFit;

/// <summary>Defocus of each image and seeing on a coarse grid: a start 15 % off can end in a false minimum.</summary>
internal static class StartScan
{
    private static readonly double[] DefocusFactors = [0.80, 0.86, 0.92, 0.97, 1.02, 1.08, 1.15, 1.23];

    /// <summary>Puts the defocus and the seeing that fit best into a start; each image finds its own, the seeing is their mean.</summary>
    /// <param name="model">Model of the pair.</param>
    /// <param name="data">Pixels.</param>
    /// <param name="start">Changed.</param>
    /// <param name="strengths">Seeings to try, (D/r0)^(5/3).</param>
    public static void Run(PairModel model, PairData data, PairState start, IReadOnlyList<double> strengths)
    {
        double[] best = [double.PositiveInfinity, double.PositiveInfinity];
        double[] defocus = new double[2];
        double[] strength = new double[2];
        foreach (double s in strengths)
        {
            foreach (double factor in DefocusFactors)
            {
                PairState trial = start.Copy();
                for (int k = 0; k < 2; k++)
                {
                    trial.DefocusNm[k] = factor * start.DefocusNm[k];
                    trial.Seeing[k] = s;
                }

                model.Evaluate(trial);
                for (int k = 0; k < 2; k++)
                {
                    double cost = Mismatch(model, data, k);
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

    private static double Mismatch(PairModel model, PairData data, int k)
    {
        ReadOnlySpan<float> unit = model.Pixels.Part(k);
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
}
