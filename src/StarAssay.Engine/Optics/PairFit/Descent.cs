using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>Steps from where a fit stands to the minimum.</summary>
internal static class Descent
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
    /// <param name="fit">What is to move; its states, residuals and chi squared follow.</param>
    /// <param name="tolerance">Gain of a step below which it ends, as a share of chi squared per point.</param>
    /// <param name="most">Most steps.</param>
    /// <param name="quick">Makes approximate Hessians; null = exact ones.</param>
    /// <param name="warm">The inverse Hessian of an earlier descent, to begin with when it is one of the same unknowns; takes this one's. Null = none.</param>
    /// <returns>Inverse of the Hessian as it stood in the end; null when none could be inverted.</returns>
    public static Matrix<double>? Run(JointFit fit, double tolerance, int most, QuickHessian? quick = null, WarmHessian? warm = null)
    {
        double damping = 0;
        Matrix<double>? inverse = Go(fit, tolerance, most, quick, warm?.For(fit.Unknowns), ref damping);

        // A damped one makes short steps, which look as if the minimum were near.
        warm?.Keep(damping == 0 ? inverse : null, fit.Unknowns);
        return inverse;
    }

    private static Matrix<double>? Go(JointFit fit, double tolerance, int most, QuickHessian? quick, Matrix<double>? warm, ref double damping)
    {
        double enough = Math.Max(tolerance * Math.Max(1, fit.Chi2 / Math.Max(1, fit.Points)), Grain * fit.Chi2);
        Matrix<double>? last = null;
        int steps = 0;
        while (steps < most)
        {
            bool warmed = warm is not null;
            (Matrix<double>? found, Vector<double> gradient) = warmed ? (warm, fit.Derivatives.Gradient()) : Newton(fit, quick, damping);
            warm = null;
            if (found is not { } inverse)
            {
                damping = Math.Max(10 * damping, 1e-4);
                steps++;
                continue;
            }

            last = inverse;
            bool moved = false;
            while (steps < most)
            {
                steps++;
                fit.CountSteps(1);
                Vector<double> step = inverse * gradient;
                double promised = step * gradient;
                if (promised < 0.1 * enough)
                {
                    return last;
                }

                // A gain below what counts ends the descent, and so does a promise of one that single precision does not show.
                bool small = promised < enough;
                PairState[] before = fit.States;
                double chi2 = fit.Chi2;
                fit.Place(fit.Unknowns.Moved(before, step));
                for (int shorter = 0; !small && shorter < 3 && !(fit.Chi2 <= chi2) && fit.Chi2 - chi2 >= 0.1 * enough; shorter++)
                {
                    // The parabola through both ends and the slope says how far to go back.
                    double length = Math.Clamp(promised / Math.Max(fit.Chi2 - chi2 + (2 * promised), 1e-300), 0.1, 0.5);
                    step *= length;
                    promised *= length;
                    fit.CountSteps(1);
                    fit.Place(fit.Unknowns.Moved(before, step));
                }

                if (!(fit.Chi2 <= chi2))
                {
                    bool flat = small || fit.Chi2 - chi2 < 0.1 * enough;
                    fit.Place(before);
                    if (flat)
                    {
                        return last;
                    }

                    break;
                }

                moved = true;
                if (chi2 - fit.Chi2 < enough)
                {
                    return last;
                }

                Vector<double> next = fit.Derivatives.Gradient();
                if (quick is not null && chi2 - fit.Chi2 > FarShare * fit.Chi2 && PositiveDefinite.Inverse(quick.At(fit), damping) is { } fresh)
                {
                    last = inverse = fresh;
                }
                else
                {
                    Update(inverse, step, gradient - next);
                }

                gradient = next;
            }

            if (warmed)
            {
                continue;
            }

            quick = null;
            damping = moved ? 0.1 * damping : Math.Max(10 * damping, 1e-3);
            if (damping > 1e6)
            {
                return last;
            }
        }

        return last;
    }

    private static (Matrix<double>? Inverse, Vector<double> Gradient) Newton(JointFit fit, QuickHessian? quick, double damping)
    {
        (Matrix<double> normal, Vector<double> gradient) = quick is null ? fit.Derivatives.NormalEquations() : (quick.At(fit), fit.Derivatives.Gradient());
        return (PositiveDefinite.Inverse(normal, damping), gradient);
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
}
