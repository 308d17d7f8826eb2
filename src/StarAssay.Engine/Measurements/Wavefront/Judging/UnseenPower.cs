using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// Power of the wavefront that the fitted modes cannot show, as far as the residuals allow any: it can only raise the RMS and lower the
/// Strehl ratio, so it is one-sided. Its range, from nothing to the bound, enters as JCGM 100 (4.3.7, 4.3.8) has it for a quantity of which
/// only bounds are known: by its middle and its standard deviation.
/// </summary>
/// <param name="BoundNm2">Most that it can be, nm^2.</param>
internal readonly record struct UnseenPower(double BoundNm2)
{
    /// <summary>Middle of the range, nm^2.</summary>
    public double MeanNm2 => BoundNm2 / 2;

    /// <summary>Standard deviation of the range, nm^2.</summary>
    public double SigmaNm2 => BoundNm2 / Math.Sqrt(12);

    /// <summary>
    /// The bound from a fit: what chi squared exceeds its expectation by, put down to modes as visible as the finest that were fitted.
    /// </summary>
    /// <param name="normal">J^T W J.</param>
    /// <param name="modes">Modes of the fit.</param>
    /// <param name="count">How many were fitted.</param>
    /// <param name="chi2">Chi squared, all pixels together.</param>
    /// <param name="freedom">Its degrees of freedom.</param>
    public static UnseenPower From(Matrix<double> normal, FitModes modes, int count, double chi2, double freedom)
    {
        // Twice the scatter of chi squared is no sign of anything.
        double excess = chi2 - freedom - (2 * Math.Sqrt(2 * freedom));
        if (excess <= 0)
        {
            return default;
        }

        int finest = Enumerable.Range(0, count).Max(j => modes[j].M == 0 ? 0 : modes[j].N);
        double[] seen = [.. Enumerable.Range(0, count).Where(j => modes[j].N == finest).Select(j => normal[j, j])];
        return new UnseenPower(excess / seen.Average());
    }
}
