using System.Numerics.Tensors;
using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// Least squares over one or more pairs with common Zernike coefficients: weights, residuals, normal equations, steps.
/// </summary>
/// <remarks>Unknowns in order: the first <see cref="ModeCount"/> modes; then for each pair seeing (one, or one for each image),
/// and for each image defocus, tilt x, tilt y, light, background.</remarks>
internal sealed class JointFit
{
    private const int PerImage = 5;

    // Single precision makes chi squared grainy: two evaluations at the same place differ by this share of it.
    private const double Grain = 1e-6;

    // A step that took away more than this many times what is left went far enough for another Hessian.
    private const double FarShare = 1;

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

    /// <summary>
    /// Goes downhill at fixed weights until a step gains less than <paramref name="tolerance"/> times chi squared per point, or
    /// <paramref name="most"/> steps are made.
    /// </summary>
    /// <remarks>Steps of Gauss and Newton. A Hessian serves as long as the images stay much the same, corrected by each
    /// step's change of gradient (BFGS); after a step that changed them much it is made afresh. Each step costs one
    /// evaluation and one adjoint gradient. When a step fails, the Hessian is the exact J^T J, damped as Levenberg and
    /// Marquardt do.</remarks>
    /// <param name="quick">Makes approximate Hessians; null = exact ones.</param>
    public void Iterate(double tolerance, int most, QuickHessian? quick = null)
    {
        double enough = Math.Max(tolerance * Math.Max(1, Chi2 / Math.Max(1, Points)), Grain * Chi2);
        double damping = 0;
        int steps = 0;
        while (steps < most)
        {
            (Matrix<double> normal, Vector<double> gradient) = quick is null ? NormalEquations() : (quick.At(this), GradientByAdjoint());
            if (Inverse(normal, damping) is not { } inverse)
            {
                damping = Math.Max(10 * damping, 1e-4);
                steps++;
                continue;
            }

            bool moved = false;
            while (steps < most)
            {
                steps++;
                Iterations++;
                Vector<double> step = inverse * gradient;
                double promised = step * gradient;
                if (promised < 0.1 * enough)
                {
                    return;
                }

                PairState[] before = States;
                double chi2 = Chi2;
                Place(Moved(before, step));
                for (int shorter = 0; shorter < 3 && !(Chi2 <= chi2) && Chi2 - chi2 >= 0.1 * enough; shorter++)
                {
                    // The parabola through both ends and the slope says how far to go back.
                    double length = Math.Clamp(promised / Math.Max(Chi2 - chi2 + (2 * promised), 1e-300), 0.1, 0.5);
                    step *= length;
                    promised *= length;
                    Iterations++;
                    Place(Moved(before, step));
                }

                if (!(Chi2 <= chi2))
                {
                    bool flat = Chi2 - chi2 < 0.1 * enough;
                    Place(before);
                    if (flat)
                    {
                        return;
                    }

                    break;
                }

                moved = true;
                if (chi2 - Chi2 < enough)
                {
                    return;
                }

                Vector<double> next = GradientByAdjoint();
                if (quick is not null && chi2 - Chi2 > FarShare * Chi2 && Inverse(quick.At(this), damping) is { } fresh)
                {
                    inverse = fresh;
                }
                else
                {
                    Update(inverse, step, gradient - next);
                }

                gradient = next;
            }

            quick = null;
            damping = moved ? 0.1 * damping : Math.Max(10 * damping, 1e-3);
            if (damping > 1e6)
            {
                return;
            }
        }
    }

    /// <summary>Inverse of a positive definite matrix, or null.</summary>
    public static Matrix<double>? Inverse(Matrix<double> normal, double damping)
    {
        // Scaled to a unit diagonal first: unknowns differ by many powers of ten.
        int n = normal.RowCount;
        double[] scale = [.. Enumerable.Range(0, n).Select(i => 1 / Math.Sqrt(Math.Max(normal[i, i], 1e-300)))];
        Matrix<double> scaled = Matrix<double>.Build.Dense(n, n, (i, j) => (normal[i, j] * scale[i] * scale[j]) + (i == j ? damping : 0));
        try
        {
            Matrix<double> inverse = scaled.Cholesky().Solve(Matrix<double>.Build.DenseIdentity(n));
            return Matrix<double>.Build.Dense(n, n, (i, j) => inverse[i, j] * scale[i] * scale[j]);
        }
        catch (ArgumentException)
        {
            return null; // not positive definite: damp
        }
    }

    // BFGS on the inverse: s the step, y the change of the (half) gradient.
    private static void Update(Matrix<double> inverse, Vector<double> s, Vector<double> y)
    {
        double sy = s * y;
        if (!(sy > 1e-12 * s.L2Norm() * y.L2Norm()))
        {
            return;
        }

        Vector<double> by = inverse * y;
        double f = (1 + ((y * by) / sy)) / sy;
        for (int i = 0; i < s.Count; i++)
        {
            for (int j = 0; j < s.Count; j++)
            {
                inverse[i, j] += (f * s[i] * s[j]) - (((by[i] * s[j]) + (s[i] * by[j])) / sy);
            }
        }
    }

    private void Place(PairState[] states)
    {
        States = states;
        Refresh();
        Chi2 = Residuals();
    }

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

    private static Span<float> Unit(SplitMatrix m, int k) => k == 0 ? m.Re : m.Im;

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

    private static float[][] TwoRows(MatrixLease memory, int length) => [memory.Floats(length), memory.Floats(length)];

    private float[][] RowsFor(int count, int length)
    {
        if (rowStore.Length < count || rowStore[0].Length != length)
        {
            rowStore = [.. Enumerable.Range(0, count).Select(_ => models[0].Memory.Floats(length, clear: false))];
        }

        return rowStore;
    }

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

    private PairState[] Moved(PairState[] from, Vector<double> delta)
    {
        var moved = new PairState[from.Length];
        for (int p = 0; p < from.Length; p++)
        {
            PairState s = from[p].Copy();
            for (int j = 0; j < ModeCount; j++)
            {
                s.CoefficientsNm[j] += delta[j];
            }

            for (int k = 0; k < 2; k++)
            {
                s.Seeing[k] = Math.Max(0, s.Seeing[k] + delta[PairOffset(p) + (SeparateSeeing ? k : 0)]);
                int o = ImageOffset(p, k);
                s.DefocusNm[k] += delta[o];
                s.TiltXNm[k] += delta[o + 1];
                s.TiltYNm[k] += delta[o + 2];
                s.Flux[k] += delta[o + 3];
                s.Background[k] += delta[o + 4];
            }

            moved[p] = s;
        }

        return moved;
    }
}
