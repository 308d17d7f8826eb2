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
    /// <returns>Typical 1 - b/a and its standard uncertainty; 0 when the noise explains all of it.</returns>
    public static Measured Of(double[] radial, double[] cross, double[] noise, int[] index)
    {
        int[] use = [.. index.Where(k => double.IsFinite(radial[k] + cross[k] + noise[k]))];
        if (use.Length == 0)
        {
            return Measured.None("");
        }

        double[] square = [.. use.Select(k => Square(FromAxes(Math.Sqrt((radial[k] * radial[k]) + (cross[k] * cross[k])))))];
        double[] added = [.. use.Select(k => 2 * noise[k] * noise[k])];
        bool[] left = new bool[use.Length];
        double mean = 0, error = double.NaN;
        for (int round = 0; round < Rounds; round++)
        {
            (mean, error) = Mean(square, added, left, Math.Max(0, mean));
            double e2 = Math.Max(0, mean);
            for (int i = 0; i < left.Length; i++)
            {
                left[i] = square[i] > Wild * (e2 + added[i]);
            }
        }

        (mean, error) = Mean(square, added, left, Math.Max(0, mean));
        double value = ToAxes(Math.Sqrt(Math.Max(0, mean)));
        double above = ToAxes(Math.Sqrt(Math.Max(0, mean) + error)), below = ToAxes(Math.Sqrt(Math.Max(0, mean - error)));
        return new Measured(value, 0.5 * (above - below), "");
    }

    /// <summary>Weighted mean of e^2 without noise, and its standard error from the scatter.</summary>
    private static (double Mean, double Error) Mean(double[] square, double[] added, bool[] left, double e2)
    {
        double weights = 0, sum = 0;
        int n = 0;
        for (int i = 0; i < square.Length; i++)
        {
            if (!left[i])
            {
                double w = Weight(added, e2, i);
                weights += w;
                sum += w * (square[i] - added[i]);
                n++;
            }
        }

        if (n == 0)
        {
            return (0, double.NaN);
        }

        double mean = sum / weights, scatter = 0;
        for (int i = 0; i < square.Length; i++)
        {
            scatter += left[i] ? 0 : Square(Weight(added, e2, i) * (square[i] - added[i] - mean));
        }

        return (mean, n > 1 ? Math.Sqrt(scatter * n / (n - 1)) / weights : double.NaN);
    }

    // The variance of e^2 is (2 s^2)^2 + 2 e^2 (2 s^2) from noise, and of the order of e^4 because stars differ.
    private static double Weight(double[] added, double e2, int i) => 1 / (Square(added[i] + e2) + Floor);

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
