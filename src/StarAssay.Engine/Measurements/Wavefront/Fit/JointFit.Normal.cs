using System.Numerics.Tensors;
using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <content>Gradient and normal equations.</content>
internal sealed partial class JointFit
{
    /// <summary>
    /// How the unknowns would move if the images differed from the model by what another model says at the same state: the
    /// fit's answer to an error in something that it holds fixed.
    /// </summary>
    /// <param name="others">Models with the changed quantity.</param>
    /// <param name="inverse">Inverse of the normal matrix.</param>
    public Vector<double> Response(PairModel[] others, Matrix<double> inverse)
    {
        float[][][] difference = new float[models.Length][][];
        for (int p = 0; p < models.Length; p++)
        {
            others[p].Evaluate(States[p]);
            difference[p] = [new float[weights[p][0].Length], new float[weights[p][1].Length]];
            for (int k = 0; k < 2; k++)
            {
                ReadOnlySpan<float> changed = Unit(others[p].Pixels, k);
                ReadOnlySpan<float> present = Unit(models[p].Pixels, k);
                float[] to = difference[p][k];
                TensorPrimitives.Subtract(changed, present, to);
                TensorPrimitives.Multiply(to, roots[p][k], to);
                TensorPrimitives.Multiply(to, (float)States[p].Flux[k], to);
            }
        }

        return inverse * GradientOf(difference);
    }

    /// <summary>J^T W (data - model) by the adjoint.</summary>
    public Vector<double> GradientByAdjoint() => GradientOf(residuals);

    private Vector<double> GradientOf(float[][][] weighted)
    {
        var gradient = Vector<double>.Build.Dense(Unknowns);
        for (int p = 0; p < models.Length; p++)
        {
            int w = data[p].Window;
            SplitMatrix pixels = backward ??= new SplitMatrix(w, w);
            if (pixels.Rows != w)
            {
                pixels = new SplitMatrix(w, w);
            }

            PairState s = States[p];
            for (int k = 0; k < 2; k++)
            {
                Span<float> to = Unit(pixels, k);
                TensorPrimitives.Multiply(weighted[p][k], roots[p][k], to);
                int o = ImageOffset(p, k);
                gradient[o + 3] = Gram.Dot(to, Unit(models[p].Pixels, k));
                gradient[o + 4] = Gram.Dot(weighted[p][k], roots[p][k]);
                TensorPrimitives.Multiply(to, (float)s.Flux[k], to);
            }

            double[] modeSums = new double[ModeCount];
            double[,] perImage = new double[2, 3];
            double[] seeing = new double[2];
            models[p].Adjoint(s, ModeCount, pixels, modeSums, perImage, seeing);
            for (int j = 0; j < ModeCount; j++)
            {
                gradient[j] += modeSums[j];
            }

            for (int k = 0; k < 2; k++)
            {
                int o = ImageOffset(p, k);
                for (int i = 0; i < 3; i++)
                {
                    gradient[o + i] = perImage[k, i];
                }

                if (FitSeeing)
                {
                    gradient[PairOffset(p) + (SeparateSeeing ? k : 0)] += seeing[k];
                }
            }
        }

        return gradient;
    }

    /// <summary>J^T W J at the present state (weights as last set) and J^T W (data - model).</summary>
    public (Matrix<double> Normal, Vector<double> Gradient) NormalEquations()
    {
        var gradient = Vector<double>.Build.Dense(Unknowns);
        Matrix<double> normal = NormalMatrix(gradient);
        return (normal, gradient);
    }

    /// <summary>J^T W J at the present state (weights as last set).</summary>
    /// <param name="gradient">Filled if given: J^T W (data - model).</param>
    public Matrix<double> NormalMatrix(Vector<double>? gradient = null)
    {
        double[,] sums = new double[Unknowns, Unknowns];
        EnsureUnits();
        for (int p = 0; p < models.Length; p++)
        {
            models[p].Jacobian(States[p], ModeCount, units[p]);
            for (int k = 0; k < 2; k++)
            {
                AddImage(p, k, sums, gradient);
            }
        }

        var normal = Matrix<double>.Build.DenseOfArray(sums);
        if (!FitSeeing)
        {
            for (int p = 0; p < models.Length; p++)
            {
                for (int i = 0; i < SeeingCount; i++)
                {
                    Hold(normal, gradient, PairOffset(p) + i);
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
        for (int p = 0; p < models.Length; p++)
        {
            int all = data[p].Window, skip = (all - smaller[p].Window) / 2;
            for (int k = 0; k < 2; k++)
            {
                float[] w = weights[p][k];
                ReadOnlySpan<float> unit = Unit(models[p].Pixels, k);
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

                int light = ImageOffset(p, k) + 3;
                normal[light, light] += uu;
                normal[light, light + 1] += u1;
                normal[light + 1, light] += u1;
                normal[light + 1, light + 1] += n;
            }
        }
    }

    private void EnsureUnits()
    {
        if (units.Length == 0 || units[0].Length < ModeCount + PairModel.ExtraUnits)
        {
            units = [.. models.Select(m => Enumerable.Range(0, ModeCount + PairModel.ExtraUnits)
                .Select(_ => m.Memory.Matrix(m.Optics.Window, m.Optics.Window, clear: false)).ToArray())];
        }
    }

    private void AddImage(int p, int k, double[,] normal, Vector<double>? gradient)
    {
        PairState s = States[p];
        float[] root = roots[p][k];
        float[][] store = RowsFor(ModeCount + 5, root.Length);
        int columns = ModeCount + 6;
        float[][] rows = new float[columns][];
        int[] target = new int[columns];
        team.For(ModeCount + PairModel.ExtraUnits, (c, _) =>
        {
            rows[c] = store[c];
            TensorPrimitives.Multiply(Unit(units[p][c], k), (float)s.Flux[k], rows[c]);
            TensorPrimitives.Multiply(rows[c], root, rows[c]);
            target[c] = c < ModeCount ? c
                : c < ModeCount + 3 ? ImageOffset(p, k) + c - ModeCount
                : PairOffset(p) + (SeparateSeeing ? k : 0);
        });

        rows[ModeCount + 4] = store[ModeCount + 4];
        TensorPrimitives.Multiply(Unit(models[p].Pixels, k), root, rows[ModeCount + 4]);
        target[ModeCount + 4] = ImageOffset(p, k) + 3;
        rows[ModeCount + 5] = root;
        target[ModeCount + 5] = ImageOffset(p, k) + 4;
        double[,] products = Gram.Products(rows, team);
        for (int i = 0; i < columns; i++)
        {
            if (gradient is not null)
            {
                gradient[target[i]] += Gram.Dot(rows[i], residuals[p][k]);
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
            rowStore = [.. Enumerable.Range(0, count).Select(_ => models[0].Memory.Floats(length, clear: false))];
        }

        return rowStore;
    }
}
