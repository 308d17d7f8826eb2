using MathNet.Numerics.LinearAlgebra;

namespace StarAssay.Engine.Numerics;

/// <summary>Least squares by the damped steps of Levenberg and Marquardt, for models of a few unknowns.</summary>
/// <remarks>K. Levenberg, Q. Appl. Math. 2, 164 (1944); D. Marquardt, J. SIAM 11, 431 (1963).</remarks>
internal static class DampedDescent
{
    private const int Rounds = 80, Trials = 12;

    /// <summary>Goes downhill until a step gains less than <paramref name="enough"/> of the cost, or none gains any.</summary>
    /// <param name="unknowns">Where to start; the minimum afterwards.</param>
    /// <param name="free">Which of the unknowns move; null = all.</param>
    /// <param name="cost">What is to become least; infinite where the unknowns make no sense.</param>
    /// <param name="equations">Normal matrix and gradient of half the squares over the free unknowns, in their order.</param>
    /// <param name="enough">Gain of a step, over one plus the cost, below which it ends.</param>
    /// <param name="cancel">To stop.</param>
    /// <returns>The least cost found.</returns>
    public static double Run(ref double[] unknowns, int[]? free, Func<double[], double> cost,
        Func<double[], (Matrix<double> Normal, Vector<double> Gradient)> equations, double enough, CancellationToken cancel)
    {
        double damping = 1e-3, least = cost(unknowns);
        for (int round = 0; round < Rounds; round++)
        {
            cancel.ThrowIfCancellationRequested();
            (Matrix<double> normal, Vector<double> gradient) = equations(unknowns);
            bool better = false;
            double gain = 0;
            for (int trial = 0; trial < Trials && !better; trial++, damping *= 8)
            {
                if (PositiveDefinite.Inverse(normal, damping) is not { } inverse)
                {
                    continue;
                }

                Vector<double> step = inverse * gradient;
                double[] next = [.. unknowns];
                for (int k = 0; k < step.Count; k++)
                {
                    next[free is null ? k : free[k]] -= step[k];
                }

                double at = cost(next);
                if (at < least)
                {
                    (unknowns, gain, least, better) = (next, least - at, at, true);
                    damping /= 64;
                }
            }

            damping = Math.Clamp(damping, 1e-12, 1e6);
            if (!better || gain < enough * (1 + least))
            {
                break;
            }
        }

        return least;
    }
}
