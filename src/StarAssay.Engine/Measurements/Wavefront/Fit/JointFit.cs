using System.Numerics.Tensors;
using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// Least squares over one or more pairs with common Zernike coefficients: weights, residuals, normal equations, steps.
/// </summary>
/// <remarks>Unknowns in order: the first <see cref="ModeCount"/> modes; then for each pair seeing (one, or one for each image),
/// and for each image defocus, tilt x, tilt y, light, background.</remarks>
internal sealed partial class JointFit
{
    private const int PerImage = 5;

    private readonly PairModel[] models;
    private readonly PairData[] data;
    private readonly Team team;
    private readonly float[][][] weights;
    private readonly float[][][] roots;
    private readonly float[][][] residuals;
    private SplitMatrix[][] units = [];
    private SplitMatrix? backward;
    private float[][] rowStore = [];

    /// <summary>Brings models and data together. Ends before the models do: it works in their memory.</summary>
    public JointFit(PairModel[] models, PairData[] data, PairState[] start, Team team)
    {
        this.models = models;
        this.data = data;
        this.team = team;
        States = start;
        weights = [.. data.Select((d, p) => TwoRows(models[p].Memory, d.Electrons[0].Length))];
        roots = [.. data.Select((d, p) => TwoRows(models[p].Memory, d.Electrons[0].Length))];
        residuals = [.. data.Select((d, p) => TwoRows(models[p].Memory, d.Electrons[0].Length))];
    }

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
    public double Points => data.Sum(d => d.Use.Sum(u => (double)u.Sum()));

    /// <summary>Unknowns that are free.</summary>
    public int Unknowns => ModeCount + (models.Length * (SeeingCount + (2 * PerImage)));

    private int SeeingCount => SeparateSeeing ? 2 : 1;

    /// <summary>Index of the first unknown of a pair.</summary>
    public int PairOffset(int pair) => ModeCount + (pair * (SeeingCount + (2 * PerImage)));

    /// <summary>Index of an image's defocus; tilt x, tilt y, light and background follow.</summary>
    public int ImageOffset(int pair, int k) => PairOffset(pair) + SeeingCount + (k * PerImage);

    /// <summary>Weighted residual (data - model) sqrt(weight) of an image, as last computed.</summary>
    public float[] Residual(int pair, int k) => residuals[pair][k];

    /// <summary>The model's electrons at the present state.</summary>
    public float[] ModelElectrons(int pair, int k)
    {
        float[] unit = Unit(models[pair].Pixels, k).ToArray();
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
        for (int p = 0; p < models.Length; p++)
        {
            models[p].Evaluate(States[p]);
        }
    }

    /// <summary>Adds the steps of an earlier fit to the count.</summary>
    public void CountFrom(int steps) => Iterations += steps;

    /// <summary>Goes back to other values, weights kept.</summary>
    public void Restore(PairState[] states)
    {
        States = states;
        Refresh();
        Chi2 = Residuals();
    }

    /// <summary>Sets weights from the model at the present state: 1/(model + base + (slack x level)^2), times the mask.</summary>
    /// <param name="slack">Share of the disc's level by which the model may still be wrong; 0 in the end.</param>
    public void Reweight(double slack)
    {
        for (int p = 0; p < models.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                PairState s = States[p];
                ReadOnlySpan<float> unit = Unit(models[p].Pixels, k);
                double disc = models[p].Optics.BlurPixels(s.DefocusNm[k]);
                double level = s.Flux[k] / Math.Max(Math.PI / 4 * disc * disc, 1);
                float extra = (float)((slack * level) * (slack * level));
                float flux = (float)s.Flux[k];
                float back = (float)s.Background[k];
                float[] w = weights[p][k];
                float[] b = data[p].BaseVariance[k];
                float[] use = data[p].Use[k];
                for (int i = 0; i < w.Length; i++)
                {
                    // The base holds the photons of the level that was taken off, so star and background together may be below zero.
                    w[i] = use[i] == 0 ? 0 : use[i] / (Math.Max((flux * unit[i]) + back + b[i], 0.2f * b[i]) + extra);
                }

                TensorPrimitives.Sqrt(w, roots[p][k]);
            }
        }

        Chi2 = Residuals();
    }

    /// <summary>Weights of 1/(base variance): variances that somebody else has settled.</summary>
    public void WeightByBaseVariance()
    {
        for (int p = 0; p < models.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                TensorPrimitives.Divide(data[p].Use[k], data[p].BaseVariance[k], weights[p][k]);
                TensorPrimitives.Sqrt(weights[p][k], roots[p][k]);
            }
        }

        Chi2 = Residuals();
    }

    /// <summary>The weights that another fit, of the same pairs with larger windows, has in its middle.</summary>
    public void WeightByMiddleOf(JointFit larger)
    {
        for (int p = 0; p < models.Length; p++)
        {
            int w = data[p].Window, all = larger.data[p].Window, skip = (all - w) / 2;
            for (int k = 0; k < 2; k++)
            {
                for (int j = 0; j < w; j++)
                {
                    larger.weights[p][k].AsSpan(((j + skip) * all) + skip, w).CopyTo(weights[p][k].AsSpan(j * w, w));
                    larger.roots[p][k].AsSpan(((j + skip) * all) + skip, w).CopyTo(roots[p][k].AsSpan(j * w, w));
                }
            }
        }
    }

    /// <summary>Light and background of every image by linear least squares, the rest held.</summary>
    public void SolveLight()
    {
        for (int p = 0; p < models.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                ReadOnlySpan<float> unit = Unit(models[p].Pixels, k);
                (double uu, double u1, double n, double du, double d1) = (0, 0, 0, 0, 0);
                float[] w = weights[p][k];
                float[] d = data[p].Electrons[k];
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

        Chi2 = Residuals();
    }

    private static Span<float> Unit(SplitMatrix m, int k) => k == 0 ? m.Re : m.Im;

    private static float[][] TwoRows(MatrixLease memory, int length) => [memory.Floats(length), memory.Floats(length)];

    private double Residuals()
    {
        double sum = 0;
        for (int p = 0; p < models.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                ReadOnlySpan<float> unit = Unit(models[p].Pixels, k);
                float flux = (float)States[p].Flux[k];
                float[] r = residuals[p][k];

                // (data - flux unit - background) x root: a pixel that is masked has a root of zero.
                TensorPrimitives.MultiplyAdd(unit, -flux, data[p].Electrons[k], r);
                TensorPrimitives.Subtract(r, (float)States[p].Background[k], r);
                TensorPrimitives.Multiply(r, roots[p][k], r);
                sum += Gram.Dot(r, r);
            }
        }

        return sum;
    }
}
