using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>
/// One ellipticity for many stars: the root of their mean square, noise taken out of the sum. A median of single
/// stars' values would not do: noise taken out of each star puts about half of the nearly round ones at exactly 0.
/// </summary>
/// <remarks>
/// The length of a vector of two components with noise s each has the mean square e^2 + 2 s^2 (S. O. Rice, Bell System
/// Technical Journal 24, 46, 1945). Stars are weighted by what they tell of e^2.
/// </remarks>
internal static class TypicalEllipticity
{
    // Chance exceeds this multiple of the mean square once in 160,000 (exponential law): such a star is no round one with noise.
    private const double Wild = 12;
    private const int Rounds = 3;

    /// <summary>Takes the mean square.</summary>
    /// <param name="radial">One component of each star, noise included, as 1 - b/a.</param>
    /// <param name="cross">The other one, at 45 degrees.</param>
    /// <param name="noise">Standard uncertainty of either component, in e = (a^2 - b^2)/(a^2 + b^2).</param>
    /// <param name="index">The stars to take.</param>
    /// <param name="noiseRelative">Relative standard uncertainty of the noise's variance that all stars share, as from a gain read off the frame.</param>
    /// <returns>Typical 1 - b/a and its standard uncertainty; 0 when the noise explains all of it.</returns>
    public static Measured Of(double[] radial, double[] cross, double[] noise, int[] index, double noiseRelative)
    {
        double[] square = new double[index.Length], added = new double[index.Length], weight = new double[index.Length];
        int n = 0;
        foreach (int k in index)
        {
            double r2 = (radial[k] * radial[k]) + (cross[k] * cross[k]), s2 = 2 * noise[k] * noise[k];
            if (double.IsFinite(r2 + s2))
            {
                square[n] = Square(FromAxes(Math.Sqrt(r2)));
                added[n++] = s2;
            }
        }

        if (n == 0)
        {
            return Measured.None("");
        }

        ReadOnlySpan<double> squares = square.AsSpan(0, n), noises = added.AsSpan(0, n);
        Span<double> weights = weight.AsSpan(0, n);
        double mean = 0;
        for (int round = 0; round <= Rounds; round++)
        {
            mean = Mean(squares, noises, weights, Math.Max(0, mean), round > 0 ? Wild : double.PositiveInfinity);
        }

        double error = double.Hypot(Error(squares, noises, weights, mean), noiseRelative * Shared(noises, weights));
        double value = ToAxes(Math.Sqrt(Math.Max(0, mean)));
        double above = ToAxes(Math.Sqrt(Math.Max(0, mean) + error)), below = ToAxes(Math.Sqrt(Math.Max(0, mean - error)));

        // At 0 the root's lower side says nothing.
        return new Measured(value, Math.Max(above - value, 0.5 * (above - below)), "");
    }

    /// <summary>Weighted mean of what noise adds.</summary>
    private static double Shared(ReadOnlySpan<double> added, ReadOnlySpan<double> weight)
    {
        double weights = 0, sum = 0;
        for (int i = 0; i < added.Length; i++)
        {
            weights += weight[i];
            sum += weight[i] * added[i];
        }

        return weights > 0 ? sum / weights : 0;
    }

    /// <summary>Weighted mean of e^2 without noise; the weights are left behind.</summary>
    private static double Mean(ReadOnlySpan<double> square, ReadOnlySpan<double> added, Span<double> weight, double e2, double wild)
    {
        double weights = 0, sum = 0;
        for (int i = 0; i < square.Length; i++)
        {
            // The variance of e^2 is (2 s^2)^2 + 2 e^2 (2 s^2) from noise, and of the order of e^4 because stars differ.
            double all = added[i] + e2, w = square[i] > wild * all ? 0 : 1 / ((all * all) + Floor);
            weight[i] = w;
            weights += w;
            sum += w * (square[i] - added[i]);
        }

        return weights > 0 ? sum / weights : 0;
    }

    /// <summary>Standard error of that mean, from the scatter.</summary>
    private static double Error(ReadOnlySpan<double> square, ReadOnlySpan<double> added, ReadOnlySpan<double> weight, double mean)
    {
        double weights = 0, scatter = 0;
        int n = 0;
        for (int i = 0; i < square.Length; i++)
        {
            weights += weight[i];
            scatter += Square(weight[i] * (square[i] - added[i] - mean));
            n += weight[i] > 0 ? 1 : 0;
        }

        return n > 1 ? Math.Sqrt(scatter * n / (n - 1)) / weights : double.NaN;
    }

    // Keeps noiseless stars' weights finite; an ellipticity of 0.003 is below what is asked for.
    private const double Floor = 1e-10;

    private static double Square(double x) => x * x;

    private static double FromAxes(double oneMinus)
    {
        double q = 1 - oneMinus;
        return (1 - (q * q)) / (1 + (q * q));
    }

    private static double ToAxes(double e) => 1 - Math.Sqrt((1 - e) / (1 + e));
}
