using System.Numerics.Tensors;
using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>Gradient and normal equations of a joint fit at its present state, with its present weights.</summary>
internal sealed class FitDerivatives
{
    private readonly JointFit fit;
    private SplitMatrix[][] units = [];
    private SplitMatrix? backward;
    private float[][] rowStore = [];

    /// <summary>Takes a fit; nothing is made before it is asked for.</summary>
    public FitDerivatives(JointFit fit) => this.fit = fit;

    /// <summary>J^T W (data - model) by the adjoint.</summary>
    public Vector<double> Gradient()
    {
        float[][][] weighted = fit.Residuals;
        FitUnknowns at = fit.Unknowns;
        var gradient = Vector<double>.Build.Dense(at.Count);
        for (int p = 0; p < fit.Models.Length; p++)
        {
            int w = fit.Data[p].Window;
            SplitMatrix pixels = backward ??= new SplitMatrix(w, w);
            if (pixels.Rows != w)
            {
                pixels = new SplitMatrix(w, w);
            }

            PairState s = fit.States[p];
            for (int k = 0; k < 2; k++)
            {
                Span<float> to = pixels.Part(k);
                TensorPrimitives.Multiply(weighted[p][k], fit.Roots[p][k], to);
                gradient[at.Light(p, k)] = Gram.Dot(to, fit.Models[p].Pixels.Part(k));
                gradient[at.Background(p, k)] = Gram.Dot(weighted[p][k], fit.Roots[p][k]);
                TensorPrimitives.Multiply(to, (float)s.Flux[k], to);
            }

            double[] modeSums = new double[at.ModeCount];
            double[,] perImage = new double[2, 3];
            double[] seeing = new double[2];
            fit.Models[p].Adjoint.Products(at.ModeCount, pixels, modeSums, perImage, seeing);
            for (int j = 0; j < at.ModeCount; j++)
            {
                gradient[j] += modeSums[j];
            }

            for (int k = 0; k < 2; k++)
            {
                int o = at.Image(p, k);
                for (int i = 0; i < 3; i++)
                {
                    gradient[o + i] = perImage[k, i];
                }

                if (fit.FitSeeing)
                {
                    gradient[at.Seeing(p, k)] += seeing[k];
                }
            }
        }

        return gradient;
    }

    /// <summary>What a nm of a mode adds to an image of unit light, as the last normal equations found it.</summary>
    public ReadOnlySpan<float> ModeImage(int pair, int k, int mode) => units[pair][mode].Part(k);

    /// <summary>What a nm of an image's own defocus adds to it, unit light, likewise.</summary>
    public ReadOnlySpan<float> DefocusImage(int pair, int k) => units[pair][fit.ModeCount].Part(k);

    /// <summary>J^T W J at the present state (weights as last set) and J^T W (data - model).</summary>
    /// <param name="beside">What else changes the images; its parameters follow the unknowns; null = none.</param>
    public (Matrix<double> Normal, Vector<double> Gradient) NormalEquations(IBeside? beside = null)
    {
        var gradient = Vector<double>.Build.Dense(fit.Unknowns.Count + (beside?.Count ?? 0));
        Matrix<double> normal = NormalMatrix(gradient, beside);
        return (normal, gradient);
    }

    /// <summary>J^T W J at the present state (weights as last set).</summary>
    /// <param name="gradient">Filled if given: J^T W (data - model).</param>
    /// <param name="beside">What else changes the images; its parameters follow the unknowns; null = none.</param>
    public Matrix<double> NormalMatrix(Vector<double>? gradient = null, IBeside? beside = null)
    {
        FitUnknowns at = fit.Unknowns;
        int size = at.Count + (beside?.Count ?? 0);
        double[,] sums = new double[size, size];
        EnsureUnits(at.ModeCount);
        for (int p = 0; p < fit.Models.Length; p++)
        {
            fit.Models[p].Jacobian.Fill(fit.States[p], at.ModeCount, units[p]);
            for (int k = 0; k < 2; k++)
            {
                AddImage(p, k, sums, gradient, beside?.In(p, k) ?? []);
            }
        }

        var normal = Matrix<double>.Build.DenseOfArray(sums);
        if (!fit.FitSeeing)
        {
            for (int p = 0; p < fit.Models.Length; p++)
            {
                for (int k = 0; k < at.SeeingCount; k++)
                {
                    Hold(normal, gradient, at.Seeing(p, k));
                }
            }
        }

        return normal;
    }

    private static void Hold(Matrix<double> normal, Vector<double>? gradient, int index)
    {
        normal.ClearRow(index);
        normal.ClearColumn(index);
        normal[index, index] = 1;
        if (gradient is not null)
        {
            gradient[index] = 0;
        }
    }

    /// <summary>Adds to normal equations that were made in smaller windows what the pixels outside of them say of light and
    /// background: most of what there is to know of the background.</summary>
    public void AddLightOutside(Matrix<double> normal, PairData[] smaller)
    {
        for (int p = 0; p < fit.Models.Length; p++)
        {
            int all = fit.Data[p].Window;
            int skip = (all - smaller[p].Window) / 2;
            for (int k = 0; k < 2; k++)
            {
                float[] w = fit.Weights[p][k];
                ReadOnlySpan<float> unit = fit.Models[p].Pixels.Part(k);
                (double uu, double u1, double n) = (0, 0, 0);
                for (int j = 0; j < all; j++)
                {
                    bool through = j >= skip && j < all - skip;
                    for (int i = 0; i < all; i++)
                    {
                        i = through && i == skip ? all - skip : i;
                        if (i < all)
                        {
                            double weight = w[(j * all) + i];
                            double u = unit[(j * all) + i];
                            uu += weight * u * u;
                            u1 += weight * u;
                            n += weight;
                        }
                    }
                }

                int light = fit.Unknowns.Light(p, k);
                normal[light, light] += uu;
                normal[light, light + 1] += u1;
                normal[light + 1, light] += u1;
                normal[light + 1, light + 1] += n;
            }
        }
    }

    private void EnsureUnits(int modes)
    {
        if (units.Length == 0 || units[0].Length < modes + PairJacobian.ExtraUnits)
        {
            units = [.. fit.Models.Select(m => Enumerable.Range(0, modes + PairJacobian.ExtraUnits)
                .Select(_ => m.Memory.Matrix(m.Optics.Window, m.Optics.Window, clear: false)).ToArray())];
        }
    }

    private void AddImage(int p, int k, double[,] normal, Vector<double>? gradient, IReadOnlyList<(float[] Image, int At)> beside)
    {
        FitUnknowns at = fit.Unknowns;
        int modes = at.ModeCount;
        PairState s = fit.States[p];
        float[] root = fit.Roots[p][k];
        int own = modes + 6;
        int columns = own + beside.Count;
        float[][] store = RowsFor(columns - 1, root.Length);
        float[][] rows = new float[columns][];
        int[] target = new int[columns];
        fit.Team.For(modes + PairJacobian.ExtraUnits, (c, _) =>
        {
            rows[c] = store[c];
            TensorPrimitives.Multiply(units[p][c].Part(k), (float)s.Flux[k], rows[c]);
            TensorPrimitives.Multiply(rows[c], root, rows[c]);
            target[c] = c < modes ? c : c < modes + 3 ? at.Image(p, k) + c - modes : at.Seeing(p, k);
        });

        rows[modes + 4] = store[modes + 4];
        TensorPrimitives.Multiply(fit.Models[p].Pixels.Part(k), root, rows[modes + 4]);
        target[modes + 4] = at.Light(p, k);
        rows[modes + 5] = root;
        target[modes + 5] = at.Background(p, k);
        for (int b = 0; b < beside.Count; b++)
        {
            rows[own + b] = store[own - 1 + b];
            TensorPrimitives.Multiply(beside[b].Image, root, rows[own + b]);
            target[own + b] = at.Count + beside[b].At;
        }

        double[,] products = Gram.Products(rows, fit.Team);
        for (int i = 0; i < columns; i++)
        {
            if (gradient is not null)
            {
                gradient[target[i]] += Gram.Dot(rows[i], fit.Residuals[p][k]);
            }

            for (int j = 0; j < columns; j++)
            {
                normal[target[i], target[j]] += products[i, j];
            }
        }
    }

    private float[][] RowsFor(int count, int length)
    {
        if (rowStore.Length < count || rowStore[0].Length != length)
        {
            rowStore = [.. Enumerable.Range(0, count).Select(_ => fit.Models[0].Memory.Floats(length, clear: false))];
        }

        return rowStore;
    }
}
