namespace StarAssay.Engine.Optics.PairFit;

/// <summary>What air that blows past the telescope leaves of one Zernike mode in a mean over time.</summary>
/// <remarks>Frozen layers: the mean over a time T that lets much air pass keeps only the frequencies across the wind,
/// so the variance is D/(v T) times the integral of Kolmogorov's spectrum times the mode's filter (Noll 1976, J. Opt. Soc. Am. 66, 207) along
/// one line; averaged over the wind's direction all modes of an order have the same. The integral is Weber and Schafheitlin's, with
/// the power 17/3 where the one for Noll's variances has 14/3; that one gives 0.0232 for order 2, as he prints.</remarks>
internal static class AirVariance
{
    /// <summary>Variance of a mode of radial order 2 for D/r0 = 1, rad^2 (Noll 1976, full constant).</summary>
    private const double Instant2 = 0.0232179;

    /// <summary>Of the mean over a time in which the air moves by one aperture, extrapolated from long times, order 2, rad^2.</summary>
    private const double Swept2 = 0.0128886;

    /// <summary>Kolmogorov variance of one mode of radial order n for D/r0 = 1, rad^2 (Noll 1976).</summary>
    public static double Instant(int n) => Product(Instant2, n, 5.0 / 6.0, 23.0 / 6.0);

    /// <summary>Variance of the mean over a time for D/r0 = 1, rad^2.</summary>
    /// <param name="n">Radial order, at least 2.</param>
    /// <param name="apertures">Apertures of air that pass in that time.</param>
    public static double Mean(int n, double apertures) => Math.Min(Instant(n), Product(Swept2, n, 4.0 / 3.0, 13.0 / 3.0) / Math.Max(apertures, 1e-9));

    private static double Product(double start, int n, double less, double more)
    {
        double v = start;
        for (int k = 2; k < n; k++)
        {
            v *= (k + 2.0) / (k + 1.0) * (k - less) / (k + more);
        }

        return v;
    }
}
