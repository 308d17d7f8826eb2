using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Alignment;

/// <summary>A vector in the image with its covariance.</summary>
/// <param name="X">Along x.</param>
/// <param name="Y">Along y.</param>
/// <param name="Xx">Variance along x.</param>
/// <param name="Xy">Covariance.</param>
/// <param name="Yy">Variance along y.</param>
internal readonly record struct Plane(double X, double Y, double Xx, double Xy, double Yy)
{
    /// <summary>Length.</summary>
    public double Size => Math.Sqrt((X * X) + (Y * Y));

    /// <summary>Direction, deg from +x towards +y.</summary>
    public double Angle => Math.Atan2(Y, X) * 180 / Math.PI;

    /// <summary>Distance from zero in standard uncertainties, Mahalanobis'.</summary>
    public double Significance
    {
        get
        {
            double det = (Xx * Yy) - (Xy * Xy);
            return det > 0 ? Math.Sqrt(((X * X * Yy) - (2 * X * Y * Xy) + (Y * Y * Xx)) / det) : double.NaN;
        }
    }

    /// <summary>Direction with its standard uncertainty: that across the vector over its length; never more than that of a direction of which nothing is known,
    /// 180 / sqrt 3.</summary>
    public Measured Direction
    {
        get
        {
            double c = X / Math.Max(Size, 1e-300), s = Y / Math.Max(Size, 1e-300);
            double across = Math.Sqrt(Math.Max(0, (s * s * Xx) - (2 * s * c * Xy) + (c * c * Yy)));
            return new Measured(Angle, Math.Min(180 / Math.Sqrt(3), across / Math.Max(Size, 1e-300) * 180 / Math.PI), "deg");
        }
    }

    /// <summary>Two weighings of the same unknowns.</summary>
    public static Plane Of(Matrix<double> covariance, Vector<double> values, Vector<double> x, Vector<double> y)
    {
        Vector<double> cx = covariance * x;
        return new Plane(x * values, y * values, x * cx, y * cx, y * (covariance * y));
    }

    /// <summary>Along x, with the uncertainty of the scale.</summary>
    public Measured AlongX(string unit, double scale) => new(X, Math.Sqrt(Xx + Math.Pow(scale * X, 2)), unit);

    /// <summary>Along y, with the uncertainty of the scale.</summary>
    public Measured AlongY(string unit, double scale) => new(Y, Math.Sqrt(Yy + Math.Pow(scale * Y, 2)), unit);

    /// <summary>Length with the uncertainty along it and that of the scale.</summary>
    public Measured Length(string unit, double scale)
    {
        double c = X / Math.Max(Size, 1e-300), s = Y / Math.Max(Size, 1e-300);
        double along = Math.Max(0, (c * c * Xx) + (2 * s * c * Xy) + (s * s * Yy));
        return new Measured(Size, Math.Sqrt(along + Math.Pow(scale * Size, 2)), unit);
    }

    /// <summary>Length over another.</summary>
    public Measured Over(double other, double scale)
    {
        Measured length = Length("", scale);
        return new Measured(length.Value / other, length.Uncertainty / other, "");
    }
}
