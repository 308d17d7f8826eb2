using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>
/// A second star near the first is the same image again, fainter and at the same distance and direction in both frames. It
/// is looked for in the residuals with the model's own image, placed to a fraction of a pixel, and subtracted from the data.
/// </summary>
internal sealed class CompanionSearch
{
    private const double Threshold = 7;

    // What is fainter moves no mode by a tenth of a nanometer, and turbulence and clipped rings imitate it.
    private const double LeastShare = 1e-3;

    private readonly PairModel model;
    private readonly PairData data;
    private readonly float[][] original;
    private readonly float[][] noise;
    private double share;
    private double dx;
    private double dy;

    public CompanionSearch(PairModel model, PairData data)
    {
        this.model = model;
        this.data = data;
        original = [(float[])data.Electrons[0].Clone(), (float[])data.Electrons[1].Clone()];
        noise = [(float[])data.BaseVariance[0].Clone(), (float[])data.BaseVariance[1].Clone()];
    }

    /// <summary>True once a companion has been found.</summary>
    public bool Found => share > 0;

    /// <summary>True when it holds so much light that it is more than a wrinkle of the model.</summary>
    public bool Counts => share > LeastShare;

    /// <summary>What was found, for the reader.</summary>
    public string Text => $"A second star with {100 * share:F1} % of the light stands {Math.Sqrt((dx * dx) + (dy * dy)):F1} pixels away ({dx:F1}, {dy:F1}); " +
        "it was modelled and taken out. A single star is better.";

    /// <summary>Looks for the strongest echo of the star in the residuals.</summary>
    /// <param name="state">Present state; the model has been evaluated there.</param>
    /// <param name="residuals">Weighted residuals of both images.</param>
    /// <param name="chi2">Chi squared per point, to scale the threshold.</param>
    public void Look(PairState state, float[][] residuals, double chi2)
    {
        int w = data.Window;
        double disc = model.Optics.BlurPixels(Math.Max(Math.Abs(state.DefocusNm[0]), Math.Abs(state.DefocusNm[1])));
        int reach = (int)Math.Min(1.6 * disc, w / 2.0);
        int step = Math.Max(1, (int)(disc / 14));
        double best = Threshold * Math.Sqrt(Math.Max(1, chi2));
        CompanionEcho[] echoes = [.. Enumerable.Range(0, 2).Select(k => EchoOf(state, residuals[k], k))];
        for (int sy = -reach; sy <= reach; sy += step)
        {
            for (int sx = -reach; sx <= reach; sx += step)
            {
                if ((sx * sx) + (sy * sy) < 0.04 * disc * disc)
                {
                    continue;
                }

                (double top, double bottom) = (0, 0);
                foreach (CompanionEcho echo in echoes)
                {
                    echo.Correlate(sx, sy, ref top, ref bottom);
                }

                double significance = bottom > 0 ? top / Math.Sqrt(bottom) : 0;
                if (significance > best)
                {
                    (best, share, dx, dy) = (significance, top / bottom, sx, sy);
                }
            }
        }

        if (share > 0.5)
        {
            share = 0;
        }
    }

    /// <summary>Improves share and place against the data minus the main star, and leaves the data without the companion.</summary>
    public void Refine(PairState state)
    {
        model.Evaluate(state);
        float[][] main = Images(state, 0, 0);
        for (int round = 0; round < 3; round++)
        {
            float[][] at = Images(state, dx, dy);
            float[][] right = Images(state, dx + 0.5, dy);
            float[][] left = Images(state, dx - 0.5, dy);
            float[][] up = Images(state, dx, dy + 0.5);
            float[][] down = Images(state, dx, dy - 0.5);
            Matrix<double> normal = Matrix<double>.Build.Dense(3, 3);
            Vector<double> side = Vector<double>.Build.Dense(3);
            for (int k = 0; k < 2; k++)
            {
                for (int i = 0; i < at[k].Length; i++)
                {
                    if (data.Use[k][i] == 0)
                    {
                        continue;
                    }

                    double weight = 1 / (Math.Max(main[k][i], 0) + (share * at[k][i]) + noise[k][i]);
                    double rest = original[k][i] - state.Background[k] - main[k][i] - (share * at[k][i]);
                    double[] column = [at[k][i], share * (right[k][i] - left[k][i]), share * (up[k][i] - down[k][i])];
                    for (int a = 0; a < 3; a++)
                    {
                        side[a] += weight * column[a] * rest;
                        for (int b = 0; b < 3; b++)
                        {
                            normal[a, b] += weight * column[a] * column[b];
                        }
                    }
                }
            }

            if (PositiveDefinite.Inverse(normal, 1e-6) is not { } inverse)
            {
                break;
            }

            Vector<double> change = inverse * side;
            share = Math.Clamp(share + change[0], 1e-4, 0.6);
            dx += Math.Clamp(change[1], -2, 2);
            dy += Math.Clamp(change[2], -2, 2);
        }

        float[][] second = Images(state, dx, dy);
        for (int k = 0; k < 2; k++)
        {
            for (int i = 0; i < second[k].Length; i++)
            {
                data.Electrons[k][i] = original[k][i] - (float)(share * second[k][i]);
                data.BaseVariance[k][i] = noise[k][i] + (float)(share * Math.Max(0, second[k][i]));
            }
        }

        model.Evaluate(state);
    }

    /// <summary>Puts the data back as they were.</summary>
    public void GiveUp()
    {
        share = 0;
        original[0].CopyTo(data.Electrons[0], 0);
        original[1].CopyTo(data.Electrons[1], 0);
        noise[0].CopyTo(data.BaseVariance[0], 0);
        noise[1].CopyTo(data.BaseVariance[1], 0);
    }

    // Both images of the star moved by whole and broken pixels: a tilt does it exactly.
    private float[][] Images(PairState state, double x, double y)
    {
        PairState moved = state.Copy();
        for (int k = 0; k < 2; k++)
        {
            moved.TiltXNm[k] += x / model.Optics.PixelsPerTiltNm;
            moved.TiltYNm[k] += y / model.Optics.PixelsPerTiltNm;
        }

        model.Evaluate(moved);
        float[][] images = [model.Pixels.Re.ToArray(), model.Pixels.Im.ToArray()];
        for (int k = 0; k < 2; k++)
        {
            System.Numerics.Tensors.TensorPrimitives.Multiply(images[k], (float)state.Flux[k], images[k]);
        }

        return images;
    }

    private CompanionEcho EchoOf(PairState state, float[] residual, int k)
    {
        int w = data.Window;
        ReadOnlySpan<float> unit = model.Pixels.Part(k);
        var echo = new CompanionEcho(w);
        float flux = (float)state.Flux[k];
        for (int i = 0; i < w * w; i++)
        {
            float light = flux * unit[i], variance = Math.Max(light, 0) + data.BaseVariance[k][i];
            bool used = data.Use[k][i] != 0;
            echo.Set(i % w, i / w, light, used ? residual[i] / MathF.Sqrt(variance) : 0, used ? 1 / variance : 0);
        }

        return echo;
    }
}
