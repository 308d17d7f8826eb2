using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Puts trails into the model where the images ask for them, before more modes are offered: modes would imitate them badly.</summary>
internal static class TrailFit
{
    // Gain in chi squared, over what is left a pixel, that chance does not give: four parameters a pair, far out.
    private const double Gain = 40;

    // A trail that is no longer small needs several straight steps.
    private const int Rounds = 5;

    // A step that gains less than this share of chi squared was the last.
    private const double Enough = 0.003;

    /// <summary>True when normal equations whose last rows are the trails' say that these gain more than chance gives.</summary>
    public static bool AskedFor(JointFit fit, Matrix<double> all, Vector<double> gradient, int count)
    {
        int trails = gradient.Count - count;
        if (trails == 0 || PositiveDefinite.Inverse(all) is not { } inverse)
        {
            return false;
        }

        Vector<double> step = (inverse * gradient).SubVector(count, trails);
        return step * inverse.SubMatrix(count, trails, count, trails).Solve(step) >= Worth(fit);
    }

    private static double Worth(JointFit fit) => Gain * fit.Models.Length * Math.Max(1, fit.Chi2 / fit.Points);

    /// <summary>Steps of the trails and all else together, and then of all else while the trails are held, as long as they gain.</summary>
    /// <param name="fit">Settled without them; its states follow.</param>
    /// <param name="usualPx">RMS of the blur along one direction that is usual, pixels; a pair with 0 has no trail.</param>
    /// <param name="hessian">Makes approximate Hessians; null = exact ones.</param>
    /// <returns>True when there are trails in the model now.</returns>
    public static bool Ask(JointFit fit, double[] usualPx, QuickHessian? hessian)
    {
        bool any = false;
        for (int round = 0; round < Rounds; round++)
        {
            var beside = new Nuisances(fit, new NuisanceSizes(0, usualPx, 0, 0));
            if (beside.Count == 0)
            {
                return false;
            }

            (Matrix<double> all, Vector<double> gradient) = fit.Derivatives.NormalEquations(beside);
            if (PositiveDefinite.Inverse(all) is not { } inverse)
            {
                return any;
            }

            Vector<double> step = inverse * gradient;
            int count = fit.Unknowns.Count;
            Vector<double> trails = step.SubVector(count, beside.Count);
            Matrix<double> open = inverse.SubMatrix(count, beside.Count, count, beside.Count);
            double chi2 = fit.Chi2, gain = trails * open.Solve(trails);
            if (gain < Worth(fit) || (any && gain < Enough * chi2))
            {
                return any;
            }

            PairState[] before = fit.States;
            PairState[] trailed = beside.Trailed(fit.Unknowns.Moved(before, step.SubVector(0, count)), [.. trails]);
            foreach (PairState s in trailed)
            {
                for (int k = 0; k < 2; k++)
                {
                    s.Trails[k] = s.Trails[k].WithoutWidth();
                }
            }

            fit.Place(trailed);
            Descent.Run(fit, 2e-4, 10, hessian);
            if (!(fit.Chi2 < chi2))
            {
                fit.Place(before);
                return any;
            }

            any = true;
        }

        return any;
    }
}
