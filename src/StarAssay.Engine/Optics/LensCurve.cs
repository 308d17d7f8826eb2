using MathNet.Numerics.Interpolation;

namespace StarAssay.Engine.Optics;

/// <summary>A property of a lens (focus, image scale) between the wavelengths at which it is given: a natural cubic spline over the
/// inverse wavelength, in which glass is nearly straight (Cauchy's formula has even powers of it), and straight on beyond its ends.</summary>
public sealed class LensCurve
{
    private readonly CubicSpline? spline;
    private readonly double low;
    private readonly double high;

    /// <summary>Takes the points.</summary>
    /// <param name="wavelengthNm">Wavelengths, rising.</param>
    /// <param name="value">Value at each; none = 0 everywhere.</param>
    public LensCurve(IReadOnlyList<double> wavelengthNm, IReadOnlyList<double> value)
    {
        if (value.Count > 0)
        {
            double[] inverse = [.. wavelengthNm.Select(w => 1 / w).Reverse()];
            (low, high) = (inverse[0], inverse[^1]);
            double[] rising = [.. value.Reverse()];
            spline = value.Count < 3 ? CubicSpline.InterpolateHermiteSorted(inverse, rising, Straight(inverse, rising))
                : CubicSpline.InterpolateNaturalSorted(inverse, rising);
        }
    }

    /// <summary>Value at a wavelength, nm.</summary>
    public double At(double wavelengthNm)
    {
        if (spline is null)
        {
            return 0;
        }

        double inside = Math.Clamp(1 / wavelengthNm, low, high);
        return spline.Interpolate(inside) + (((1 / wavelengthNm) - inside) * spline.Differentiate(inside));
    }

    private static double[] Straight(double[] x, double[] y)
    {
        double slope = (y[^1] - y[0]) / (x[^1] - x[0]);
        return [.. x.Select(_ => slope)];
    }
}
