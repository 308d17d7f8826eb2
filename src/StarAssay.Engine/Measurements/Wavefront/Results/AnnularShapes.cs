using MathNet.Numerics.Integration;
using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// The fitted modes in polynomials that are orthonormal over the ring which the obstruction leaves (Mahajan 1981, J. Opt. Soc. Am. 71, 75):
/// their coefficients are RMS over the light that passes, with piston, tilt and focus taken out there. Those of the circle
/// polynomials are larger, spherical aberration by 1/(1 - e^2)^2.
/// </summary>
/// <remarks>A circle polynomial holds annular ones of its own angle and of its own or a lower order.</remarks>
internal static class AnnularShapes
{
    private const int RulePoints = 32;

    /// <summary>Turns coefficients of the fit into annular ones, mode by mode in the same order.</summary>
    /// <param name="modes">Modes of the fit.</param>
    /// <param name="count">How many were fitted.</param>
    /// <param name="obstruction">Ratio of diameters.</param>
    public static Matrix<double> From(FitModes modes, int count, double obstruction)
    {
        var annulus = new ZernikeAnnulus(obstruction, modes.Take(count).Max(m => m.N));
        double low = obstruction * obstruction;
        var rule = new GaussLegendreRule(low, 1, RulePoints);
        return Matrix<double>.Build.Dense(count, count, (to, from) =>
        {
            ZernikeIndex a = modes[to];
            ZernikeIndex b = modes[from];
            if (to >= modes.Whole || from >= modes.Whole)
            {
                return to == from ? 1 : 0; // annular already
            }

            return a.M == b.M && a.N <= b.N ? Mean(annulus, rule, a, b) / (1 - low) : 0;
        });
    }

    // Both along the line where the cosine is one; over all angles its square is half as large.
    private static double Mean(ZernikeAnnulus annulus, GaussLegendreRule rule, ZernikeIndex a, ZernikeIndex b)
    {
        var ring = new ZernikeIndex(a.N, a.Frequency);
        var circle = new ZernikeIndex(b.N, b.Frequency);
        double sum = 0;
        for (int i = 0; i < RulePoints; i++)
        {
            double rho = Math.Sqrt(rule.GetAbscissa(i));
            sum += rule.GetWeight(i) * annulus.Evaluate(ring, rho, 0) * Zernike.Evaluate(circle, rho, 0);
        }

        return a.M == 0 ? sum : sum / 2;
    }
}
