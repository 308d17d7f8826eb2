using MathNet.Numerics.Integration;

namespace StarAssay.Engine.Optics;

/// <summary>Gauss-Legendre sums over intervals and over the pupil, for the closed forms of this folder.</summary>
internal static class Quadrature
{
    private const int Order = 32;
    private static readonly GaussLegendreRule Unit = new(-1, 1, Order);

    /// <summary>Integral of a smooth function over [from, to], cut into equal panels of 32 nodes.</summary>
    public static double Integrate(Func<double, double> function, double from, double to, int panels = 1)
    {
        double half = (to - from) / (2.0 * panels);
        double sum = 0;
        for (int p = 0; p < panels; p++)
        {
            double middle = from + ((2 * p) + 1) * half;
            for (int i = 0; i < Order; i++)
            {
                sum += Unit.GetWeight(i) * function(middle + (half * Unit.GetAbscissa(i)));
            }
        }

        return sum * half;
    }

    /// <summary>
    /// Mean of a function of (rho, theta) over the annulus obstruction &lt;= rho &lt;= 1: Gauss-Legendre in rho squared
    /// (which makes the weight uniform), the trapezium rule in theta (exact for the harmonics that occur).
    /// </summary>
    public static (double Real, double Imaginary) PupilMean(Func<double, double, (double Real, double Imaginary)> function, double obstruction, int angles = 96)
    {
        double low = obstruction * obstruction;
        double real = 0;
        double imaginary = 0;
        const int Panels = 2;
        double half = (1 - low) / (2 * Panels);
        for (int p = 0; p < Panels; p++)
        {
            double middle = low + (((2 * p) + 1) * half);
            for (int i = 0; i < Order; i++)
            {
                double rho = Math.Sqrt(middle + (half * Unit.GetAbscissa(i)));
                double weight = Unit.GetWeight(i) / (2 * Panels * angles);
                for (int k = 0; k < angles; k++)
                {
                    (double re, double im) = function(rho, 2 * Math.PI * k / angles);
                    real += weight * re;
                    imaginary += weight * im;
                }
            }
        }

        return (real, imaginary);
    }
}
