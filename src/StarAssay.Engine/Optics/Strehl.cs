using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>
/// Strehl ratio: peak of the image over the peak with a perfect wave, from the pupil integral and from the usual
/// approximations by the RMS.
/// </summary>
/// <remarks>
/// Wavefront, not surface; RMS over the transmitting pupil with piston removed. Sources: Marechal 1947 (lower bound);
/// Mahajan 1982, J. Opt. Soc. Am. 72, 1258 (exponential, and its comparison with the exact values); Born and Wolf, ch. 9.
/// </remarks>
public static class Strehl
{
    /// <summary>RMS in waves above which the exponential is not shown beside the exact value: it is off by up to
    /// 1.7 % there for primary aberrations, and soon by far more.</summary>
    public const double ExponentialLimitWaves = 0.1;

    /// <summary>The exact ratio: squared modulus of the weighted pupil mean of exp(2 pi i W / lambda).</summary>
    /// <param name="wavefrontNm">Wavefront error at pupil points, nm; NaN outside the pupil.</param>
    /// <param name="weights">Amplitude weight of each point (0 to 1); empty for equal weights.</param>
    /// <param name="wavelengthNm">Wavelength in nm.</param>
    public static double FromPupil(ReadOnlySpan<double> wavefrontNm, ReadOnlySpan<double> weights, double wavelengthNm)
    {
        RequireShapes(wavefrontNm, weights);
        InputException.RequireRange(wavelengthNm, 100, 30000, nameof(wavelengthNm), "nm");
        double real = 0;
        double imaginary = 0;
        double total = 0;
        for (int i = 0; i < wavefrontNm.Length; i++)
        {
            double weight = weights.IsEmpty ? 1 : weights[i];
            if (double.IsNaN(wavefrontNm[i]) || weight == 0)
            {
                continue;
            }

            (double sin, double cos) = Math.SinCos(2 * Math.PI * wavefrontNm[i] / wavelengthNm);
            real += weight * cos;
            imaginary += weight * sin;
            total += weight;
        }

        if (!(total > 0))
        {
            throw new InputException("strehl.empty", "The pupil holds no light: every point is NaN or has weight 0.", nameof(weights));
        }

        return ((real * real) + (imaginary * imaginary)) / (total * total);
    }

    /// <summary>RMS of the wavefront with piston removed, in its unit.</summary>
    public static double Rms(ReadOnlySpan<double> wavefrontNm, ReadOnlySpan<double> weights)
    {
        RequireShapes(wavefrontNm, weights);
        double total = 0;
        double mean = 0;
        double squares = 0;
        for (int i = 0; i < wavefrontNm.Length; i++)
        {
            double weight = weights.IsEmpty ? 1 : weights[i];
            if (double.IsNaN(wavefrontNm[i]) || weight == 0)
            {
                continue;
            }

            // West's update keeps the digits when the mean is large beside the spread.
            total += weight;
            double step = wavefrontNm[i] - mean;
            mean += step * weight / total;
            squares += weight * step * (wavefrontNm[i] - mean);
        }

        return total > 0 ? Math.Sqrt(squares / total) : double.NaN;
    }

    /// <summary>The exact ratio for a wavefront given as a function of (rho, theta), in waves.</summary>
    public static double FromFunction(Func<double, double, double> waves, double obstruction = 0)
    {
        (double real, double imaginary) = Quadrature.PupilMean(
            (rho, theta) =>
            {
                (double sin, double cos) = Math.SinCos(2 * Math.PI * waves(rho, theta));
                return (cos, sin);
            },
            obstruction);
        return (real * real) + (imaginary * imaginary);
    }

    /// <summary>RMS of a wavefront given as a function of (rho, theta), piston removed.</summary>
    public static double RmsOfFunction(Func<double, double, double> waves, double obstruction = 0)
    {
        (double mean, double square) = Quadrature.PupilMean(
            (rho, theta) =>
            {
                double w = waves(rho, theta);
                return (w, w * w);
            },
            obstruction);
        return Math.Sqrt(Math.Max(0, square - (mean * mean)));
    }

    /// <summary>exp(-(2 pi s)^2), s = RMS in waves (Mahajan 1982).</summary>
    public static double Exponential(double rmsWaves) => Math.Exp(-Square(2 * Math.PI * rmsWaves));

    /// <summary>(1 - (2 pi s)^2 / 2)^2, a lower bound for small s (Marechal 1947); NaN where it would rise again.</summary>
    public static double MarechalBound(double rmsWaves)
    {
        double root = 1 - (Square(2 * Math.PI * rmsWaves) / 2);
        return root < 0 ? double.NaN : root * root;
    }

    /// <summary>1 - (2 pi s)^2, the form behind "RMS of lambda/14 is 0.80".</summary>
    public static double Linear(double rmsWaves) => 1 - Square(2 * Math.PI * rmsWaves);

    private static double Square(double x) => x * x;

    private static void RequireShapes(ReadOnlySpan<double> wavefrontNm, ReadOnlySpan<double> weights)
    {
        if (!weights.IsEmpty && weights.Length != wavefrontNm.Length)
        {
            throw new InputException("strehl.weights",
                $"{weights.Length} weights were given for {wavefrontNm.Length} pupil points; give one for each, or none.", nameof(weights));
        }
    }
}
