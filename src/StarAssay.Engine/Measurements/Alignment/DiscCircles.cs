using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Measurements.Alignment;

/// <summary>Where the edges of the pupil lie in the disc by rays, to first order in the aberrations.</summary>
/// <remarks>
/// A ray from pupil point u lands at -2 N grad W. A path g(rho) cos t beside the defocus moves the outline of the circle rho, which is what one
/// sees of it, by its normal part: -2 N g'(rho). For coma W131 rho^3 cos t these are 6 N W131 rho^2. (The mean of the rays of that circle moves by
/// 4 N W131 rho^2 only: they also crowd together on one side.)
/// </remarks>
internal static class DiscCircles
{
    private const int ComaY = 7, ComaX = 8, FineX = 16, FineY = 17, Astigmatism45 = 5, Astigmatism0 = 6;

    /// <summary>Place of a Noll number among the modes of the fit.</summary>
    public static int At(int noll) => noll - 5;

    /// <summary>W131 over the coefficient of Noll 7 or 8.</summary>
    public static double SeidelComa => 3 * Math.Sqrt(8);

    /// <summary>Weights of the fit's unknowns and of the obstruction in the decentre of an image, um: middle of the shadow less that of the outer
    /// edge.</summary>
    /// <param name="fit">The fit.</param>
    /// <param name="k">Image.</param>
    /// <param name="axis">0 for x, 1 for y.</param>
    /// <param name="coma">Whether the part of coma counts.</param>
    /// <param name="offset">Whether the part of the obstruction counts.</param>
    public static Vector<double> Decentre(DiscFit fit, int k, int axis, bool coma = true, bool offset = true)
    {
        int n = fit.Fit.Unknowns.Count;
        var weights = Vector<double>.Build.Dense(n + 3);
        double ratio = Ratio(fit, k), e = fit.Optics.Shape.Obstruction;
        if (coma)
        {
            weights[At(axis == 0 ? ComaX : ComaY)] = 2e-3 * ratio * (Slope(1) - Slope(e));
            weights[At(axis == 0 ? FineX : FineY)] = 2e-3 * ratio * (FineSlope(1) - FineSlope(e));
        }

        if (offset && e > 0)
        {
            weights[n + axis] = -4e-3 * ratio * fit.State.DefocusNm[k];
        }

        return weights;
    }

    /// <summary>Values of the unknowns that <see cref="Decentre"/> weighs.</summary>
    public static Vector<double> Values(DiscFit fit)
    {
        int n = fit.Fit.Unknowns.Count;
        var values = Vector<double>.Build.Dense(n + 3);
        for (int j = 0; j < fit.Fit.ModeCount; j++)
        {
            values[j] = fit.State.CoefficientsNm[j];
        }

        (values[n], values[n + 1], values[n + 2]) = (fit.Optics.Shape.ObstructionX, fit.Optics.Shape.ObstructionY, fit.Optics.Shape.Obstruction);
        return values;
    }

    /// <summary>Radius of the geometric disc of defocus alone, um.</summary>
    public static double BlurRadiusUm(DiscFit fit, int k) => 4e-3 * Ratio(fit, k) * Math.Abs(fit.State.DefocusNm[k]);

    /// <summary>Middle of the outline of a pupil circle in the window of an image, pixels of the fit; the obstruction's own offset not in it.</summary>
    public static (double X, double Y) Middle(DiscFit fit, int k, double rho)
    {
        double[] c = fit.State.CoefficientsNm;
        double per = -2e-3 * Ratio(fit, k) / fit.Optics.PitchUm;
        double X(int noll, int fine, double tilt) => per * (tilt + (c[At(noll)] * Slope(rho)) + (c[At(fine)] * FineSlope(rho)));
        int half = fit.Optics.Window / 2;
        return (half + X(ComaX, FineX, fit.State.TiltXNm[k]), half + X(ComaY, FineY, fit.State.TiltYNm[k]));
    }

    /// <summary>Mean radius of the outline of a pupil circle, pixels of the fit.</summary>
    public static double Radius(DiscFit fit, int k, double rho)
    {
        double[] c = fit.State.CoefficientsNm;
        double round = 0;
        for (int j = 0; j < c.Length; j++)
        {
            if (DiscFit.Modes[j].M == 0)
            {
                const double Half = 1e-4;
                round += c[j] * (Zernike.Evaluate(DiscFit.Modes[j], rho + Half, 0) - Zernike.Evaluate(DiscFit.Modes[j], rho - Half, 0)) / (2 * Half);
            }
        }

        return Math.Abs(2e-3 * Ratio(fit, k) * ((2 * rho * fit.State.DefocusNm[k]) + round)) / fit.Optics.PitchUm;
    }

    /// <summary>Ellipse of the outer edge by astigmatism: half the difference of the half axes over their mean, and the long axis, deg.</summary>
    public static (double Ellipticity, double AngleDeg) Ellipse(DiscFit fit, int k)
    {
        double a = fit.State.CoefficientsNm[At(Astigmatism0)], b = fit.State.CoefficientsNm[At(Astigmatism45)];

        // sqrt6 rho^2 cos 2t: the outline moves out by 2 N 2 sqrt6 Z where it adds to the defocus.
        double size = 4e-3 * Math.Sqrt(6) * Ratio(fit, k) * Math.Sqrt((a * a) + (b * b)) / fit.Optics.PitchUm;
        double sign = fit.State.DefocusNm[k] < 0 ? -1 : 1;
        double angle = Math.Atan2(sign * b, sign * a) / 2 * 180 / Math.PI;
        return (size / Radius(fit, k, 1), angle);
    }

    // Slope of Noll 8 and of Noll 16 along the radius.
    private static double Slope(double rho) => Math.Sqrt(8) * ((9 * rho * rho) - 2);

    private static double FineSlope(double rho) => Math.Sqrt(12) * ((50 * Math.Pow(rho, 4)) - (36 * rho * rho) + 3);

    private static double Ratio(DiscFit fit, int k) => fit.Optics.FocalRatio * fit.Optics.Stretch[k];
}
