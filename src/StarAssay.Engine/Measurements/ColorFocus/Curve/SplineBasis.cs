using MathNet.Numerics.LinearAlgebra;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>A smoothing spline's own functions over the inverse square of the wavelength, in which lens curves are smooth.</summary>
/// <remarks>A parabola that nothing holds, plus what an integrated random walk of the third order adds to it (Wahba 1978, J. R.
/// Stat. Soc. B 40, 364), by its strongest eigenfunctions. The variance of each is that of a walk of unit size; how large the walk
/// is must come from the data. Bands that follow from such a prior hold the truth as often as they say, on the average over the
/// curve (Wahba 1983, J. R. Stat. Soc. B 45, 133; Nychka 1988, J. Am. Stat. Assoc. 83, 1134).</remarks>
internal sealed class SplineBasis
{
    /// <summary>Functions that nothing holds: the first ones.</summary>
    public const int Free = 3;

    private const int Nodes = 121;
    private const int Held = 14;
    private const double Farthest = 0.5; // beyond the ends a function is followed, of the whole: our own choice
    private const int Stretch = 3; // nodes over which its slope and bend at the end are taken
    private static readonly (double[][] Function, double[] Variance) Walk = MakeWalk();
    private readonly double low;
    private readonly double high;

    public SplineBasis(double minNm, double maxNm)
    {
        low = 1 / (maxNm * maxNm);
        high = 1 / (minNm * minNm);
    }

    /// <summary>Number of functions.</summary>
    public const int Functions = Free + Held;

    /// <summary>The same.</summary>
    public static int Count => Functions;

    /// <summary>Variance of the coefficient of each function for a walk of unit size; infinite where nothing holds it.</summary>
    public static double Variance(int k) => k < Free ? double.PositiveInfinity : Walk.Variance[k - Free];

    /// <summary>Values of all functions at a wavelength, which must lie between the ends.</summary>
    public double[] At(double wavelengthNm)
    {
        double t = Math.Clamp(((1 / (wavelengthNm * wavelengthNm)) - low) / (high - low), 0, 1);
        double u = (2 * t) - 1;
        var value = new double[Count];
        value[0] = 1;
        value[1] = u;
        value[2] = (2 * u * u) - 1;
        double x = t * (Nodes - 1);
        int i = Math.Min((int)x, Nodes - 2);
        double f = x - i;
        for (int k = 0; k < Held; k++)
        {
            value[Free + k] = ((1 - f) * Walk.Function[k][i]) + (f * Walk.Function[k][i + 1]);
        }

        return value;
    }

    /// <summary>Values of all functions at any wavelength: beyond the ends each goes on as the parabola that it ends with, as a
    /// smoothing spline of this order does.</summary>
    public double[] Continued(double wavelengthNm)
    {
        double inverse = 1 / (wavelengthNm * wavelengthNm);
        double t = Math.Clamp((inverse - low) / (high - low), -Farthest, 1 + Farthest);
        double[] value = At(wavelengthNm);
        double beyond = t < 0 ? -t : t - 1;
        if (!(beyond > 0))
        {
            return value;
        }

        double u = (2 * t) - 1;
        value[1] = u;
        value[2] = (2 * u * u) - 1;
        int end = t < 0 ? 0 : Nodes - 1, step = t < 0 ? Stretch : -Stretch;
        double x = beyond * (Nodes - 1) / Stretch;
        for (int k = 0; k < Held; k++)
        {
            double[] f = Walk.Function[k];
            double one = f[end] - f[end + step], two = f[end + step] - f[end + (2 * step)];
            value[Free + k] = f[end] + (x * one) + (0.5 * x * (x + 1) * (one - two));
        }

        return value;
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

    /// <summary>Eigenfunctions, RMS 1, and eigenvalues of the walk's covariance with parabolas projected out.</summary>
    private static (double[][] Function, double[] Variance) MakeWalk()
    {
        // Covariance of a twice integrated random walk from 0 on (Wahba 1978).
        Matrix<double> k = Matrix<double>.Build.Dense(Nodes, Nodes, (i, j) =>
        {
            double a = Math.Min(i, j) / (double)(Nodes - 1), d = Math.Abs(i - j) / (double)(Nodes - 1);
            return (Math.Pow(a, 5) / 20) + (d * Math.Pow(a, 4) / 8) + (d * d * Math.Pow(a, 3) / 12);
        });
        Matrix<double> x = Matrix<double>.Build.Dense(Nodes, Free, (i, j) => Math.Pow((2.0 * i / (Nodes - 1)) - 1, j));
        Matrix<double> q = x.QR(MathNet.Numerics.LinearAlgebra.Factorization.QRMethod.Thin).Q;
        Matrix<double> off = Matrix<double>.Build.DenseIdentity(Nodes) - (q * q.Transpose());
        var evd = (off * k * off).Evd(Symmetricity.Symmetric);
        var function = new double[Held][];
        var variance = new double[Held];
        double root = Math.Sqrt(Nodes);
        for (int m = 0; m < Held; m++)
        {
            Vector<double> v = evd.EigenVectors.Column(Nodes - 1 - m);
            double sign = v[0] < 0 ? -1 : 1; // the library's choice of sign must not matter
            function[m] = [.. v.Select(e => sign * root * e)];
            variance[m] = evd.EigenValues[Nodes - 1 - m].Real / Nodes;
        }

        return (function, variance);
    }
}
