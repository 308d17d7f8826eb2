using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.Spacing;

/// <summary>Weighted least squares of the sag by a line or a parabola in the distance.</summary>
/// <remarks>
/// Uncertain distances count by the slope of the fit (effective variance). Scatter beyond the uncertainties widens all bars by the root
/// of the reduced chi squared (Birge 1932, from memory); less scatter does not narrow them.
/// </remarks>
internal sealed class SagFit
{
    private readonly double middle;
    private readonly Matrix<double> covariance;
    private readonly Vector<double> values;

    private SagFit(double middle, Vector<double> values, Matrix<double> covariance, double[] sigma, double reducedChiSquared)
    {
        (this.middle, this.values, this.covariance, Sigma, ReducedChiSquared) = (middle, values, covariance, sigma, reducedChiSquared);
    }

    /// <summary>Uncertainty of each sag, that of the distance included.</summary>
    public double[] Sigma { get; }

    /// <summary>NaN where no degree of freedom is left.</summary>
    public double ReducedChiSquared { get; }

    /// <summary>Fits.</summary>
    /// <param name="distance">Of each run, mm.</param>
    /// <param name="sag">Of each run, um.</param>
    /// <param name="uncertainty">Of each sag.</param>
    /// <param name="unsure">Standard uncertainty of a distance, mm.</param>
    /// <param name="degree">1 or 2.</param>
    public static SagFit Of(IReadOnlyList<double> distance, IReadOnlyList<double> sag, IReadOnlyList<double> uncertainty, double unsure, int degree)
    {
        int n = distance.Count, count = degree + 1;
        double middle = distance.Average();
        var design = Matrix<double>.Build.Dense(n, count, (i, k) => Math.Pow(distance[i] - middle, k));
        var given = Vector<double>.Build.Dense(n, i => sag[i]);
        var values = Vector<double>.Build.Dense(count);
        Matrix<double> covariance = Matrix<double>.Build.Dense(count, count);
        double[] sigma = [.. uncertainty];
        double chi = double.NaN;

        // The weights hang on the slope, which the first rounds find.
        for (int round = 0; round < 4; round++)
        {
            Matrix<double> weighted = Matrix<double>.Build.Dense(n, count, (i, k) => design[i, k] / (sigma[i] * sigma[i]));
            covariance = PositiveDefinite.Inverse(weighted.TransposeThisAndMultiply(design))
                ?? throw new ArgumentException("Fewer different distances than unknowns.", nameof(distance));
            values = covariance * weighted.TransposeThisAndMultiply(given);
            Vector<double> rest = given - (design * values);
            chi = n > count ? Enumerable.Range(0, n).Sum(i => Math.Pow(rest[i] / sigma[i], 2)) / (n - count) : double.NaN;
            if (round < 3)
            {
                for (int i = 0; i < n; i++)
                {
                    double slope = values[1] + (degree > 1 ? 2 * values[2] * (distance[i] - middle) : 0);
                    sigma[i] = Math.Sqrt(Math.Pow(uncertainty[i], 2) + Math.Pow(slope * unsure, 2));
                }
            }
        }

        return new SagFit(middle, values, covariance * (chi > 1 ? chi : 1), sigma, chi);
    }

    /// <summary>Coefficient of that power, with its uncertainty.</summary>
    public (double Value, double Sigma) Coefficient(int power) => (values[power], Math.Sqrt(covariance[power, power]));

    /// <summary>Sag at a distance.</summary>
    public (double Value, double Sigma) At(double distance) => Along(k => Math.Pow(distance - middle, k));

    /// <summary>Slope at a distance.</summary>
    public (double Value, double Sigma) Slope(double distance) => Along(k => k == 0 ? 0 : k * Math.Pow(distance - middle, k - 1));

    /// <summary>
    /// Distance without sag, that nearest to the middle of those tried; NaN where there is none.
    /// </summary>
    public (double Value, double Sigma) Root()
    {
        double a = values[0], b = values[1], c = values.Count > 2 ? values[2] : 0;

        // The root that the line's becomes as the second order vanishes, in the form that does not cancel.
        double x = -2 * a / (b + Math.CopySign(Math.Sqrt((b * b) - (4 * a * c)), b));
        double at = middle + x;
        double slope = Slope(at).Value, share = Math.Pow(Slope(at).Sigma / slope, 2);

        // Fieller (1954, from memory) for one standard deviation: an unsure slope makes the interval wider than first order says.
        double sigma = At(at).Sigma / Math.Abs(slope) / Math.Sqrt(Math.Max(1 - share, 1e-12));
        return (at, sigma);
    }

    private (double Value, double Sigma) Along(Func<int, double> direction)
    {
        var v = Vector<double>.Build.Dense(values.Count, direction);
        return (v * values, Math.Sqrt(Math.Max(0, v * (covariance * v))));
    }
}
