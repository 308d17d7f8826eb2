using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Simulation;

/// <summary>How focus and image change over the field. X and Y are mm on the sensor, from its middle; h is the distance from the optical axis.</summary>
public sealed record FieldErrors
{
    /// <summary>Where the optical axis meets the sensor, mm from its middle, x.</summary>
    public double AxisXMm { get; init; }

    /// <summary>The same, y.</summary>
    public double AxisYMm { get; init; }

    /// <summary>Tilt of the sensor: how much farther from the objective it lies per mm to the right, um/mm.</summary>
    public double TiltXUmPerMm { get; init; }

    /// <summary>The same per mm upwards, um/mm.</summary>
    public double TiltYUmPerMm { get; init; }

    /// <summary>Field curvature: best focus lies this much x h^2 from that on the axis, um/mm^2, negative = towards the objective.</summary>
    public double CurvatureUmPerMm2 { get; init; }

    /// <summary>Astigmatism: tangential less sagittal focus, x h^2, um/mm^2.</summary>
    public double AstigmatismUmPerMm2 { get; init; }

    /// <summary>Coma: coefficient of the mode along the field radius (Noll 8 turned to it), nm RMS per mm of h.</summary>
    public double ComaNmPerMm { get; init; }

    /// <summary>Distortion: image height h (1 + k h^2), k in 1/mm^2; positive = pincushion.</summary>
    public double DistortionPerMm2 { get; init; }

    /// <summary>Sensor against local best focus, um, positive outside.</summary>
    /// <param name="focusPositionUm">Position of the sensor's middle.</param>
    /// <param name="xMm">From the sensor's middle.</param>
    /// <param name="yMm">From the sensor's middle.</param>
    public double DefocusUm(double focusPositionUm, double xMm, double yMm)
    {
        double hx = xMm - AxisXMm;
        double hy = yMm - AxisYMm;
        return focusPositionUm + (TiltXUmPerMm * xMm) + (TiltYUmPerMm * yMm) - (CurvatureUmPerMm2 * ((hx * hx) + (hy * hy)));
    }

    /// <summary>
    /// Noll 5 to 8 at a field point in nm RMS. Line foci: W222 rho^2 cos^2 moves the tangential focus by -8 N^2 W222, and its
    /// astigmatic part is (W222 / 2) rho^2 cos 2(t - field angle) (Welford).
    /// </summary>
    public (double Z5, double Z6, double Z7, double Z8) AberrationsNm(double xMm, double yMm, double focalRatio)
    {
        double hx = xMm - AxisXMm;
        double hy = yMm - AxisYMm;

        // h^2 cos 2a = hx^2 - hy^2, h^2 sin 2a = 2 hx hy.
        double scale = -1000 * AstigmatismUmPerMm2 / (8 * focalRatio * focalRatio) / (2 * Math.Sqrt(6));
        return (scale * 2 * hx * hy, scale * ((hx * hx) - (hy * hy)), ComaNmPerMm * hy, ComaNmPerMm * hx);
    }

    /// <summary>Place on the sensor of a point that a perfect telescope would put at (x, y), mm from the middle.</summary>
    /// <param name="xMm">Ideal place.</param>
    /// <param name="yMm">Ideal place.</param>
    /// <param name="scalePpm">Image scale of the wavelength, parts per million.</param>
    public (double X, double Y) Distort(double xMm, double yMm, double scalePpm = 0)
    {
        double hx = xMm - AxisXMm;
        double hy = yMm - AxisYMm;
        double factor = (1 + (DistortionPerMm2 * ((hx * hx) + (hy * hy)))) * (1 + (scalePpm * 1e-6));
        return (AxisXMm + (hx * factor), AxisYMm + (hy * factor));
    }

    /// <summary>True when every point of the field sees the same image.</summary>
    public bool IsUniform => TiltXUmPerMm == 0 && TiltYUmPerMm == 0 && CurvatureUmPerMm2 == 0 && AstigmatismUmPerMm2 == 0 && ComaNmPerMm == 0;
}
