using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <content>Steps: from where the fit stands to the minimum.</content>
internal sealed partial class JointFit
{
    // Single precision makes chi squared grainy: two evaluations at the same place differ by this share of it.
    private const double Grain = 1e-6;

    // A step that took away more than this many times what is left went far enough for another Hessian.
    private const double FarShare = 1;

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
