using System.Numerics.Tensors;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>Where least squares over one or more pairs with common Zernike coefficients stand: values, weights, residuals, cost.</summary>
/// <remarks><see cref="FitDerivatives"/> says where downhill is, <see cref="Descent"/> goes there.</remarks>
internal sealed class JointFit
{
    /// <summary>Brings models and data together. Ends before the models do: it works in their memory.</summary>
    public JointFit(PairModel[] models, PairData[] data, PairState[] start, Team team)
    {
        Models = models;
        Data = data;
        Team = team;
        States = start;
        float[][][] New() => [.. data.Select((d, p) => (float[][])[.. d.Electrons.Select(e => models[p].Memory.Floats(e.Length))])];
        Weights = New();
        Roots = New();
        Residuals = New();
        Derivatives = new FitDerivatives(this);
    }

    /// <summary>One model a pair.</summary>
    public PairModel[] Models { get; }

    /// <summary>Pixels of each pair.</summary>
    public PairData[] Data { get; }

    /// <summary>Workers.</summary>
    public Team Team { get; }

    /// <summary>Weight of every pixel, by pair and image.</summary>
    public float[][][] Weights { get; }

    /// <summary>Square roots of the weights.</summary>
    public float[][][] Roots { get; }

    /// <summary>(data - model) sqrt(weight), by pair and image, as last computed.</summary>
    public float[][][] Residuals { get; }

    /// <summary>Gradient and normal equations.</summary>
    public FitDerivatives Derivatives { get; }

    /// <summary>Modes that are free.</summary>
    public int ModeCount { get; set; }

    /// <summary>True when each image has its own seeing.</summary>
    public bool SeparateSeeing { get; set; }

    /// <summary>False while the seeing is held.</summary>
    public bool FitSeeing { get; set; } = true;

    /// <summary>The present values.</summary>
    public PairState[] States { get; private set; }

    /// <summary>Weighted sum of squared residuals at <see cref="States"/>.</summary>
    public double Chi2 { get; private set; }

    /// <summary>Steps accepted and refused since the beginning.</summary>
    public int Iterations { get; private set; }

    /// <summary>Pixels that count.</summary>
    public double Points => Data.Sum(d => d.Use.Sum(u => (double)u.Sum()));

    /// <summary>Unknowns that are free, and their places.</summary>
    public FitUnknowns Unknowns => new(Models.Length, ModeCount, SeparateSeeing);

    /// <summary>Degrees of freedom that the pixels leave, at least 1.</summary>
    public double Freedom => Math.Max(1, Points - Unknowns.Count);

    /// <summary>The model's electrons at the present state.</summary>
    public float[] ModelElectrons(int pair, int k)
    {
        float[] unit = Models[pair].Pixels.Part(k).ToArray();
        PairState s = States[pair];
        for (int i = 0; i < unit.Length; i++)
        {
            unit[i] = (float)((s.Flux[k] * unit[i]) + s.Background[k]);
        }

        return unit;
    }

    /// <summary>Evaluates every model at the present state.</summary>
    public void Refresh()
    {
        for (int p = 0; p < Models.Length; p++)
        {
            Models[p].Evaluate(States[p]);
        }
    }

    /// <summary>Adds steps to the count: the descent's, or those of an earlier fit.</summary>
    public void CountSteps(int steps) => Iterations += steps;

    /// <summary>Goes to other values, weights kept.</summary>
    public void Place(PairState[] states)
    {
        States = states;
        Refresh();
        Compare();
    }

    /// <summary>Sets weights from the model at the present state: 1/(model + base + (slack x level)^2), times the mask.</summary>
    /// <param name="slack">Share of the disc's level by which the model may still be wrong; 0 in the end.</param>
    public void Reweight(double slack)
    {
        for (int p = 0; p < Models.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                PairState s = States[p];
                ReadOnlySpan<float> unit = Models[p].Pixels.Part(k);
                double disc = Models[p].Optics.BlurPixels(s.DefocusNm[k]);
                double level = s.Flux[k] / Math.Max(Math.PI / 4 * disc * disc, 1);
                float extra = (float)((slack * level) * (slack * level));
                float flux = (float)s.Flux[k];
                float back = (float)s.Background[k];
                float[] w = Weights[p][k];
                float[] b = Data[p].BaseVariance[k];
                float[] use = Data[p].Use[k];
                for (int i = 0; i < w.Length; i++)
                {
                    // The base holds the photons of the level that was taken off, so star and background together may be below zero.
                    w[i] = use[i] == 0 ? 0 : use[i] / (Math.Max((flux * unit[i]) + back + b[i], 0.2f * b[i]) + extra);
                }

                TensorPrimitives.Sqrt(w, Roots[p][k]);
            }
        }

        Compare();
    }

    /// <summary>Weights of 1/(base variance): variances that somebody else has settled.</summary>
    public void WeightByBaseVariance()
    {
        for (int p = 0; p < Models.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                TensorPrimitives.Divide(Data[p].Use[k], Data[p].BaseVariance[k], Weights[p][k]);
                TensorPrimitives.Sqrt(Weights[p][k], Roots[p][k]);
            }
        }

        Compare();
    }

    /// <summary>The weights that another fit, of the same pairs with larger windows, has in its middle.</summary>
    public void WeightByMiddleOf(JointFit larger)
    {
        for (int p = 0; p < Models.Length; p++)
        {
            int w = Data[p].Window;
            int all = larger.Data[p].Window;
            int skip = (all - w) / 2;
            for (int k = 0; k < 2; k++)
            {
                for (int j = 0; j < w; j++)
                {
                    larger.Weights[p][k].AsSpan(((j + skip) * all) + skip, w).CopyTo(Weights[p][k].AsSpan(j * w, w));
                    larger.Roots[p][k].AsSpan(((j + skip) * all) + skip, w).CopyTo(Roots[p][k].AsSpan(j * w, w));
                }
            }
        }
    }

    /// <summary>Light and background of every image by linear least squares, the rest held.</summary>
    public void SolveLight()
    {
        for (int p = 0; p < Models.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                ReadOnlySpan<float> unit = Models[p].Pixels.Part(k);
                (double uu, double u1, double n, double du, double d1) = (0, 0, 0, 0, 0);
                float[] w = Weights[p][k];
                float[] d = Data[p].Electrons[k];
                for (int i = 0; i < w.Length; i++)
                {
                    double wu = (double)w[i] * unit[i];
                    uu += wu * unit[i];
                    u1 += wu;
                    n += w[i];
                    du += wu * d[i];
                    d1 += (double)w[i] * d[i];
                }

                double det = (uu * n) - (u1 * u1);
                if (det > 0)
                {
                    double flux = ((du * n) - (d1 * u1)) / det;
                    States[p].Flux[k] = flux;
                    States[p].Background[k] = (d1 - (flux * u1)) / n;
                }
            }
        }

        Compare();
    }

    private void Compare()
    {
        double sum = 0;
        for (int p = 0; p < Models.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                ReadOnlySpan<float> unit = Models[p].Pixels.Part(k);
                float flux = (float)States[p].Flux[k];
                float[] r = Residuals[p][k];

                // (data - flux unit - background) x root: a pixel that is masked has a root of zero.
                TensorPrimitives.MultiplyAdd(unit, -flux, Data[p].Electrons[k], r);
                TensorPrimitives.Subtract(r, (float)States[p].Background[k], r);
                TensorPrimitives.Multiply(r, Roots[p][k], r);
                sum += Gram.Dot(r, r);
            }
        }

        Chi2 = sum;
    }
}
