using MathNet.Numerics.LinearAlgebra;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Chebyshev polynomials in the inverse wavelength: lens curves are smooth in it, so few terms do.</summary>
internal sealed class SmoothCurve
{
    private readonly double low;
    private readonly double high;

    public SmoothCurve(double minNm, double maxNm)
    {
        low = 1 / maxNm;
        high = 1 / minNm;
    }

    public double Scaled(double wavelengthNm) => (2 * ((1 / wavelengthNm) - low) / (high - low)) - 1;

    public double[] Basis(double wavelengthNm, int degree)
    {
        double u = Scaled(wavelengthNm);
        var t = new double[degree + 1];
        t[0] = 1;
        if (degree > 0)
        {
            t[1] = u;
        }

        for (int k = 2; k <= degree; k++)
        {
            t[k] = (2 * u * t[k - 1]) - t[k - 2];
        }

        return t;
    }

    public static double Dot(double[] a, double[] b)
    {
        double s = 0;
        for (int i = 0; i < a.Length; i++)
        {
            s += a[i] * b[i];
        }

        return s;
    }

    /// <summary>Operator that gives coefficients from values (rows = coefficients), for weights 1/sigma^2.</summary>
    public Matrix<double> Operator(IReadOnlyList<double> nm, IReadOnlyList<double> sigma, int degree)
    {
        var a = Matrix<double>.Build.Dense(nm.Count, degree + 1);
        for (int i = 0; i < nm.Count; i++)
        {
            double[] t = Basis(nm[i], degree);
            for (int k = 0; k <= degree; k++)
            {
                a[i, k] = t[k] / sigma[i];
            }
        }

        Matrix<double> solve = (a.TransposeThisAndMultiply(a)).Inverse() * a.Transpose();
        for (int i = 0; i < nm.Count; i++)
        {
            for (int k = 0; k <= degree; k++)
            {
                solve[k, i] /= sigma[i];
            }
        }

        return solve;
    }
}
