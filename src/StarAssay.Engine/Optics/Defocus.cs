using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>Defocus: between the sensor's shift and what it does to wave and image.</summary>
/// <remarks>
/// The shift dz is positive when the sensor lies outside focus (farther from the objective); the wavefront term
/// W020 rho^2 then is positive. Leading order in 1/N^2: the next one adds 3 / (16 N^2) of it as spherical aberration, 0.75 %
/// at N = 5. Sources: Welford, Aberrations of Optical Systems; Born and Wolf, ch. 8.8; Smith, Modern Optical Engineering
/// (depth of focus).
/// </remarks>
public static class Defocus
{
    /// <summary>W020 in nm for a sensor shift in micrometres: dz / (8 N^2).</summary>
    public static double WavefrontNm(double shiftUm, double focalRatio) => 1000 * shiftUm / (8 * focalRatio * focalRatio);

    /// <summary>Sensor shift in micrometres for W020 in nm: 8 N^2 W020.</summary>
    public static double ShiftUm(double wavefrontNm, double focalRatio) => 8 * focalRatio * focalRatio * wavefrontNm / 1000;

    /// <summary>Half of the quarter-wave depth of focus: 2 lambda N^2, in micrometres.</summary>
    public static double DepthOfFocusUm(double wavelengthNm, double focalRatio) => 2 * wavelengthNm / 1000 * focalRatio * focalRatio;

    /// <summary>Noll-normalised coefficient of Z4 for W020 rho^2: W020 / (2 sqrt 3), same unit.</summary>
    public static double ZernikeOf(double w020) => w020 / (2 * Math.Sqrt(3));

    /// <summary>Strehl ratio of pure defocus on a clear circle, W020 in waves: (sin(pi W) / (pi W))^2.</summary>
    public static double StrehlRatio(double waves)
    {
        double s = MathNet.Numerics.Trig.Sinc(waves);
        return s * s;
    }

    /// <summary>Strehl ratio of pure defocus on an annulus: the same with W (1 - e^2).</summary>
    public static double StrehlRatio(double waves, double obstruction) => StrehlRatio(waves * (1 - (obstruction * obstruction)));

    /// <summary>Geometric diameter of the blur disc: |dz| / N, same unit as the shift.</summary>
    public static double BlurDiameter(double shift, double focalRatio) => Math.Abs(shift) / focalRatio;

    /// <summary>Half-flux radius of the geometric disc or ring: |dz| / (2 N) sqrt((1 + e^2) / 2).</summary>
    public static double HalfFluxRadius(double shift, double focalRatio, double obstruction = 0) =>
        Math.Abs(shift) / (2 * focalRatio) * Math.Sqrt((1 + (obstruction * obstruction)) / 2);

    /// <summary>Distance along the axis of the two line foci: 8 N^2 W222, in micrometres.</summary>
    public static double AstigmaticDifferenceUm(double w222Nm, double focalRatio) => ShiftUm(w222Nm, focalRatio);

    /// <summary>Distance along the axis between marginal and paraxial focus: 16 N^2 W040, in micrometres.</summary>
    public static double LongitudinalSphericalUm(double w040Nm, double focalRatio) => 2 * ShiftUm(w040Nm, focalRatio);

    /// <summary>
    /// Optical transfer of a clear circle with pure defocus, at a fraction of the cutoff: Hopkins' integral over the lens
    /// common to the two displaced pupils. Negative where contrast is reversed.
    /// </summary>
    public static double Transfer(double fraction, double waves)
    {
        double v = Math.Abs(fraction);
        if (v >= 1)
        {
            return 0;
        }

        // x = 1 - v - t^2 takes the square-root end away from the nodes. The phase difference of the two pupils at
        // x is W ((x + v)^2 - (x - v)^2) = 4 W v x waves.
        double top = Math.Sqrt(1 - v);
        int panels = 2 + (int)(Math.Abs(waves) * 2);
        return 4 / Math.PI * Quadrature.Integrate(
            t =>
            {
                double x = 1 - v - (t * t);
                double y = 1 - ((x + v) * (x + v));
                return 2 * t * Math.Sqrt(Math.Max(0, y)) * Math.Cos(8 * Math.PI * waves * v * x);
            },
            0,
            top,
            panels);
    }

    /// <summary>Modulation transfer of a clear circle with pure defocus: the modulus of <see cref="Transfer"/>.</summary>
    public static double Mtf(double fraction, double waves) => Math.Abs(Transfer(fraction, waves));

    /// <summary>Focal ratio from aperture and focal length, checked.</summary>
    public static double FocalRatio(double apertureMm, double focalLengthMm)
    {
        InputException.RequireRange(apertureMm, 1, 50_000, nameof(apertureMm), "mm");
        InputException.RequireRange(focalLengthMm, 1, 1_000_000, nameof(focalLengthMm), "mm");
        return focalLengthMm / apertureMm;
    }
}
