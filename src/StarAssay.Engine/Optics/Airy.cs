using MathNet.Numerics;
using MathNet.Numerics.RootFinding;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>
/// The image of a point by a perfect telescope with a clear or annular aperture.
/// </summary>
/// <remarks>
/// Radii are in units of lambda N (wavelength times focal ratio); multiply by <c>WavelengthNm / 1000 * FocalRatio</c> for
/// micrometres in the focal plane. The obstruction is the ratio of diameters, 0 for a clear aperture. Sources: Airy 1835;
/// Rayleigh 1881 (encircled energy); Born and Wolf, Principles of Optics, ch. 8; for the annulus Mahajan, Optical Imaging
/// and Aberrations, part II, with the integral over the cross term done here by quadrature.
/// </remarks>
public static class Airy
{
    /// <summary>Light at a radius, the peak being 1.</summary>
    public static double Intensity(double radius, double obstruction = 0)
    {
        double amplitude = Amplitude(radius, obstruction);
        return amplitude * amplitude;
    }

    /// <summary>Field amplitude at a radius, the peak being 1; its zeros are the dark rings.</summary>
    public static double Amplitude(double radius, double obstruction = 0)
    {
        RequireObstruction(obstruction);
        double x = Math.PI * Math.Abs(radius);
        double e2 = obstruction * obstruction;
        return (Jinc(x) - (e2 * Jinc(obstruction * x))) / (1 - e2);
    }

    /// <summary>Share of the transmitted light within a radius.</summary>
    public static double EncircledEnergy(double radius, double obstruction = 0)
    {
        RequireObstruction(obstruction);
        double x = Math.PI * Math.Abs(radius);
        double clear = Rayleigh(x);
        if (obstruction == 0)
        {
            return clear;
        }

        double e = obstruction;
        double cross = Quadrature.Integrate(
            t => t == 0 ? 0 : SpecialFunctions.BesselJ(1, t) * SpecialFunctions.BesselJ(1, e * t) / t,
            0,
            x,
            panels: 1 + (int)(x / 12));
        return (clear + (e * e * Rayleigh(e * x)) - (4 * e * cross)) / (1 - (e * e));
    }

    /// <summary>Radius of the n-th dark ring, n from 1.</summary>
    public static double DarkRing(int n, double obstruction = 0)
    {
        if (n < 1)
        {
            throw new InputException("airy.ring", $"Dark ring {n} was asked for; they are counted from 1.", nameof(n));
        }

        // Zeros lie about 1 / (1 + e) apart or more: a step of 0.1 cannot jump over one.
        const double Step = 0.1;
        int found = 0;
        double from = Step;
        while (true)
        {
            double to = from + Step;
            if (Amplitude(from, obstruction) * Amplitude(to, obstruction) <= 0 && ++found == n)
            {
                return Brent.FindRoot(r => Amplitude(r, obstruction), from, to, 1e-13, 200);
            }

            from = to;
        }
    }

    /// <summary>Radius and height of the n-th bright ring (its crest), n from 1.</summary>
    public static (double Radius, double Height) BrightRing(int n, double obstruction = 0)
    {
        double from = DarkRing(n, obstruction);
        double to = DarkRing(n + 1, obstruction);

        // Golden-section search on the height would stop at the square root of the rounding; the slope has a sharp zero.
        double Slope(double r) => (Amplitude(r + 1e-5, obstruction) - Amplitude(r - 1e-5, obstruction)) / 2e-5;
        double crest = Brent.FindRoot(Slope, from + (0.05 * (to - from)), to - (0.05 * (to - from)), 1e-11, 200);
        return (crest, Intensity(crest, obstruction));
    }

    /// <summary>Full width at half maximum.</summary>
    public static double Fwhm(double obstruction = 0) =>
        2 * Brent.FindRoot(r => Intensity(r, obstruction) - 0.5, 0.1, 0.8, 1e-14, 200);

    /// <summary>Radius that holds the given share of all light (half of it by default).</summary>
    /// <remarks>The far wings hold a share of 2 / (pi^2 r (1 - e)) beyond r, so shares near 1 lie very far out.</remarks>
    public static double EncircledRadius(double share = 0.5, double obstruction = 0)
    {
        InputException.RequireRange(share, 0, 0.99, nameof(share), string.Empty);
        return Brent.FindRoot(r => EncircledEnergy(r, obstruction) - share, 0, 60, 1e-12, 200);
    }

    /// <summary>
    /// Modulation transfer at a spatial frequency given as a fraction of the cutoff 1 / (lambda N): the overlap of two
    /// displaced apertures.
    /// </summary>
    /// <remarks>Clear: Goodman, Introduction to Fourier Optics. Annular: the same overlap, of two annuli (O'Neill 1956,
    /// J. Opt. Soc. Am. 46, 285, treats it case by case).</remarks>
    public static double Mtf(double fraction, double obstruction = 0)
    {
        RequireObstruction(obstruction);
        double shift = 2 * Math.Abs(fraction);
        if (shift >= 2)
        {
            return 0;
        }

        double e = obstruction;
        double overlap = Circles.Overlap(1, 1, shift);
        if (e > 0)
        {
            overlap += Circles.Overlap(e, e, shift) - (2 * Circles.Overlap(1, e, shift));
        }

        return overlap / (Math.PI * (1 - (e * e)));
    }

    /// <summary>Line spread: light in a thin strip at a distance from the image of a point, total 1, per lambda N.</summary>
    public static double LineSpread(double distance, double obstruction = 0) =>
        2 * Quadrature.Integrate(v => Mtf(v, obstruction) * Math.Cos(2 * Math.PI * distance * v), 0, 1, Panels(distance));

    /// <summary>Edge spread: light at a distance from the image of a straight edge, 0 far in the dark, 1 far in the light.</summary>
    public static double EdgeSpread(double distance, double obstruction = 0) =>
        0.5 + Quadrature.Integrate(
            v => Mtf(v, obstruction) * 2 * distance * Trig.Sinc(2 * distance * v), 0, 1, Panels(distance));

    /// <summary>Width of the image of a straight edge between two levels, for example 0.1 and 0.9.</summary>
    public static double EdgeWidth(double low, double high, double obstruction = 0)
    {
        InputException.RequireRange(low, 0.001, 0.5, nameof(low), string.Empty);
        InputException.RequireRange(high, 0.5, 0.999, nameof(high), string.Empty);
        double At(double level) => level == 0.5 ? 0 : Brent.FindRoot(d => EdgeSpread(d, obstruction) - level, -60, 60, 1e-10, 200);
        return At(high) - At(low);
    }

    private static int Panels(double distance) => 2 + (int)(Math.Abs(distance) / 3);

    private static double Rayleigh(double x)
    {
        double j0 = SpecialFunctions.BesselJ(0, x);
        double j1 = SpecialFunctions.BesselJ(1, x);
        return 1 - (j0 * j0) - (j1 * j1);
    }

    private static double Jinc(double x) => x < 1e-4 ? 1 - (x * x / 8) : 2 * SpecialFunctions.BesselJ(1, x) / x;

    private static void RequireObstruction(double obstruction) =>
        InputException.RequireRange(obstruction, 0, 0.95, nameof(obstruction), "of the diameter");
}
