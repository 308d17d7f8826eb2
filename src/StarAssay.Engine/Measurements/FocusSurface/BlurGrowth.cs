namespace StarAssay.Engine.Measurements.FocusSurface;

/// <summary>How the square of the half-flux radius grows with defocus beyond what seeing, pixels and aberrations make of it.</summary>
/// <remarks>
/// Far from focus the star is a disc of the diameter |d| / N with the hole of the obstruction e, half its light within
/// sqrt((1 + e^2) / 8) |d| / N; near to it the growth is that of two blurs convolved, which is less. Both factors and the place of the
/// change are left to the stars within what drawn runs show, where the finite outer radius takes its part. An asymmetry is what
/// spherical aberration makes of the two sides.
/// </remarks>
internal readonly struct BlurGrowth
{
    /// <summary>Unknowns: logarithms of the factors near and far and of the change's place over 4 wavelengths N^2, and the asymmetry.</summary>
    public const int Unknowns = 4;

    /// <summary>Where they start and what is known of them beforehand, from drawn runs.</summary>
    public static readonly double[] Expected = [Math.Log(0.60), Math.Log(0.91), Math.Log(2.6), 0];

    /// <summary>Standard deviations of that.</summary>
    public static readonly double[] Scatter = [0.12, 0.07, 0.35, 0.06];

    private readonly double unit;
    private readonly double change;

    /// <summary>Squared half-flux radius over squared defocus of the geometric disc.</summary>
    public double Unit => unit;

    public BlurGrowth(double focalRatio, double obstruction, double wavelengthNm)
    {
        unit = (1 + (obstruction * obstruction)) / (8 * focalRatio * focalRatio);
        change = 4 * wavelengthNm / 1000 * focalRatio * focalRatio;
    }

    /// <summary>Growth of the squared half-flux radius, um^2.</summary>
    /// <param name="defocusUm">Sensor from best focus.</param>
    /// <param name="p">The unknowns.</param>
    public double At(double defocusUm, ReadOnlySpan<double> p)
    {
        Span<double> slopes = stackalloc double[Unknowns];
        return At(defocusUm, p, slopes).Growth;
    }

    /// <summary>The growth and how it changes with the defocus and with each of the unknowns.</summary>
    /// <param name="defocusUm">Sensor from best focus.</param>
    /// <param name="p">The unknowns.</param>
    /// <param name="slopes">Filled with the derivatives by the unknowns.</param>
    public (double Growth, double Slope) At(double defocusUm, ReadOnlySpan<double> p, Span<double> slopes)
    {
        double near = Math.Exp(p[0]), far = Math.Exp(p[1]), w = change * Math.Exp(p[2]), w2 = w * w;
        double d = defocusUm, d2 = d * d, t = d2 / w2, one = 1 + t;
        double root = Math.Sqrt(d2 + w2), cube = root * (d2 + w2);
        double factor = near + ((far - near) * t / one), skew = 1 + (p[3] * d / root), area = d2 * unit;
        slopes[0] = near / one * skew * area;
        slopes[1] = far * t / one * skew * area;
        slopes[2] = (((far - near) * -2 * t / (one * one) * skew) - (factor * p[3] * d * w2 / cube)) * area;
        slopes[3] = factor * d / root * area;
        double byDefocus = ((far - near) * 2 * d / (w2 * one * one) * skew) + (factor * p[3] * w2 / cube);
        return (factor * skew * area, (byDefocus * area) + (factor * skew * 2 * d * unit));
    }
}
