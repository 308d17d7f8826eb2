using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>Color of light for the CIE 1931 standard observer, 2 degrees.</summary>
/// <remarks>ISO/CIE 11664-1, data set doi:10.25039/CIE.DS.xvudnb9b, every 5 nm as published by the Colour and Vision Research Laboratory. The eye by night
/// and the rods are not in it.</remarks>
public static class ColorMatching
{
    private const double FromNm = 380, StepNm = 5, ToNm = 780;
    private const double FineNm = 1;

    private static readonly double[] Nm = [.. Enumerable.Range(0, 81).Select(k => FromNm + (StepNm * k))];

    private static readonly double[][] Functions =
    [
        [
        0.001368, 0.002236, 0.004243, 0.00765, 0.01431, 0.02319, 0.04351, 0.07763, 0.13438, 0.21477, 0.2839, 0.3285, 0.34828, 0.34806, 0.3362, 0.3187,
        0.2908, 0.2511, 0.19536, 0.1421, 0.09564, 0.05795, 0.03201, 0.0147, 0.0049, 0.0024, 0.0093, 0.0291, 0.06327, 0.1096, 0.1655, 0.22575, 0.2904,
        0.3597, 0.43345, 0.51205, 0.5945, 0.6784, 0.7621, 0.8425, 0.9163, 0.9786, 1.0263, 1.0567, 1.0622, 1.0456, 1.0026, 0.9384, 0.85445, 0.7514, 0.6424,
        0.5419, 0.4479, 0.3608, 0.2835, 0.2187, 0.1649, 0.1212, 0.0874, 0.0636, 0.04677, 0.0329, 0.0227, 0.01584, 0.011359, 0.008111, 0.00579, 0.004109,
        0.002899, 0.002049, 0.00144, 0.001, 0.00069, 0.000476, 0.000332, 0.000235, 0.000166, 0.000117, 0.000083, 0.000059, 0.000042
        ],
        [
        0.000039, 0.000064, 0.00012, 0.000217, 0.000396, 0.00064, 0.00121, 0.00218, 0.004, 0.0073, 0.0116, 0.01684, 0.023, 0.0298, 0.038, 0.048, 0.06,
        0.0739, 0.09098, 0.1126, 0.13902, 0.1693, 0.20802, 0.2586, 0.323, 0.4073, 0.503, 0.6082, 0.71, 0.7932, 0.862, 0.91485, 0.954, 0.9803, 0.99495, 1.0,
        0.995, 0.9786, 0.952, 0.9154, 0.87, 0.8163, 0.757, 0.6949, 0.631, 0.5668, 0.503, 0.4412, 0.381, 0.321, 0.265, 0.217, 0.175, 0.1382, 0.107, 0.0816,
        0.061, 0.04458, 0.032, 0.0232, 0.017, 0.01192, 0.00821, 0.005723, 0.004102, 0.002929, 0.002091, 0.001484, 0.001047, 0.00074, 0.00052, 0.000361,
        0.000249, 0.000172, 0.00012, 0.000085, 0.00006, 0.000042, 0.00003, 0.000021, 0.000015
        ],
        [
        0.00645, 0.01055, 0.02005, 0.03621, 0.06785, 0.1102, 0.2074, 0.3713, 0.6456, 1.03905, 1.3856, 1.62296, 1.74706, 1.7826, 1.77211, 1.7441, 1.6692,
        1.5281, 1.28764, 1.0419, 0.81295, 0.6162, 0.46518, 0.3533, 0.272, 0.2123, 0.1582, 0.1117, 0.07825, 0.05725, 0.04216, 0.02984, 0.0203, 0.0134,
        0.00875, 0.00575, 0.0039, 0.00275, 0.0021, 0.0018, 0.00165, 0.0014, 0.0011, 0.001, 0.0008, 0.0006, 0.00034, 0.00024, 0.00019, 0.0001, 0.00005,
        0.00003, 0.00002, 0.00001, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0
        ],
    ];

    /// <summary>x, y or z of a wavelength, 0 beyond 380 and 780 nm.</summary>
    /// <param name="function">0, 1, 2.</param>
    /// <param name="nm">Wavelength.</param>
    public static double At(int function, double nm) => nm < FromNm || nm > ToNm ? 0 : LinearTable.At(Nm, Functions[function], nm);

    /// <summary>Weights of wavelengths in X, Y and Z of a star: its light (Planck's law, by energy) and the observer, what lies between two wavelengths
    /// shared between them by straight lines.</summary>
    /// <param name="wavelengthsNm">Rising.</param>
    /// <param name="kelvin">Temperature of the black body.</param>
    /// <returns>Rows X, Y, Z, their Y summing to 1; and the largest share of X, Y or Z that lies beyond the first and the last wavelength.</returns>
    /// <exception cref="InputException">Fewer than two wavelengths, not rising, or none that an eye sees.</exception>
    public static (double[,] Weights, double LeftOut) OfStar(IReadOnlyList<double> wavelengthsNm, double kelvin)
    {
        InputException.RequireRange(kelvin, 1000, 100_000, "star", "K");
        double[] nm = [.. wavelengthsNm];
        if (nm.Length < 2 || nm.Zip(nm.Skip(1)).Any(p => !(p.Second > p.First)) || !(Math.Min(nm[^1], ToNm) - Math.Max(nm[0], FromNm) >= 2 * FineNm))
        {
            throw new InputException("views.light", "Give two or more rising wavelengths that cover 2 nm or more between 380 and 780 nm.", "colors");
        }

        double[,] weights = new double[3, nm.Length];
        double[] all = new double[3], held = new double[3];
        for (double at = FromNm + (0.5 * FineNm); at < ToNm; at += FineNm)
        {
            // By energy: photons over wavelength.
            double light = StellarLight.BlackBody(at, kelvin) / at;
            int right = Array.FindIndex(nm, w => w >= at);
            for (int c = 0; c < 3; c++)
            {
                double value = light * At(c, at);
                all[c] += value;
                if (right > 0)
                {
                    double share = (at - nm[right - 1]) / (nm[right] - nm[right - 1]);
                    weights[c, right - 1] += (1 - share) * value;
                    weights[c, right] += share * value;
                    held[c] += value;
                }
            }
        }

        for (int k = 0; k < nm.Length; k++)
        {
            for (int c = 0; c < 3; c++)
            {
                weights[c, k] /= held[1];
            }
        }

        return (weights, held.Zip(all).Max(p => 1 - (p.First / p.Second)));
    }
}
