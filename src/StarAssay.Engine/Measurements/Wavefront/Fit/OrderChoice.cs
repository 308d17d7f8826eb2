using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// How many modes the data ask for. One exact Jacobian with all modes on offer tells what chi squared each set would reach, since the
/// problem is nearly linear by then; Akaike's criterion, with the noise scaled to the misfit so that a wrong model does not
/// call for ever more modes, chooses.
/// </summary>
internal static class OrderChoice
{
    /// <summary>The best number of modes among those offered.</summary>
    /// <param name="normal">J^T W J with as many modes as the largest offer.</param>
    /// <param name="gradient">J^T W (data - model) at the present values.</param>
    /// <param name="present">Present coefficients; those not fitted so far are zero.</param>
    /// <param name="chi2">Chi squared at the present values.</param>
    /// <param name="points">Pixels that count.</param>
    /// <param name="offers">Numbers of modes, growing; the last is what the matrix holds.</param>
    public static int Best(Matrix<double> normal, Vector<double> gradient, ReadOnlySpan<double> present, double chi2, double points, IReadOnlyList<int> offers)
    {
        int all = offers[^1];
        double bestScore = double.PositiveInfinity;
        int best = offers[0];
        foreach (int count in offers)
        {
            // Modes that are not in the set go to zero first; the others then find their minimum.
            Vector<double> gone = Vector<double>.Build.Dense(normal.RowCount);
            for (int j = count; j < all; j++)
            {
                gone[j] = present[j];
            }

            Vector<double> pull = normal * gone;
            double without = chi2 + (2 * (gradient * gone)) + (gone * pull);
            int[] keep = [.. Enumerable.Range(0, count), .. Enumerable.Range(all, normal.RowCount - all)];
            Matrix<double> part = Matrix<double>.Build.Dense(keep.Length, keep.Length, (i, j) => normal[keep[i], keep[j]]);
            Vector<double> g = Vector<double>.Build.Dense(keep.Length, i => gradient[keep[i]] + pull[keep[i]]);
            double gain = PositiveDefinite.Inverse(part) is { } inverse ? g * (inverse * g) : 0;
            double reached = Math.Max(without - gain, 0.2 * chi2);
            double score = (points * Math.Log(reached / points)) + (2 * keep.Length);
            if (score < bestScore)
            {
                (best, bestScore) = (count, score);
            }
        }

        return best;
    }
}
