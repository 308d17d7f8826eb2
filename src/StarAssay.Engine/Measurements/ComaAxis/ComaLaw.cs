using MathNet.Numerics.Distributions;
using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ComaAxis;

/// <summary>Coma of third order over the field fitted to single stars by weighted least squares: Noll 8 + i Noll 7 = a + ib + s h.</summary>
internal sealed class ComaLaw
{
    // What fits of single discs miss beside photons, more where there is much coma (drawn frames that were tuned on).
    private const double MissedNm = 0.3, MissedShare = 0.007;

    // Below this probability the bars are widened, as far as the stars scatter; chance alone does it once in twenty times.
    private const double ScatterFrom = 0.05;

    private ComaLaw(double[] values, Matrix<double> covariance, double[][] rest, double chi, int freedom)
    {
        (Values, Covariance, Rest, ChiSquared, Freedom) = (values, covariance, rest, chi, freedom);
        Probability = freedom > 0 ? 1 - ChiSquaredOf(freedom).CumulativeDistribution(chi) : double.NaN;
        Widened = Probability < ScatterFrom;
    }

    /// <summary>a and b in nm, s in nm per mm.</summary>
    public double[] Values { get; }

    /// <summary>Theirs, widened where the stars scatter.</summary>
    public Matrix<double> Covariance { get; }

    /// <summary>Measured less the law, Noll 8 and 7 of each star.</summary>
    public double[][] Rest { get; }

    /// <summary>Chi squared by the stars' own bars.</summary>
    public double ChiSquared { get; }

    /// <summary>Its degrees of freedom.</summary>
    public int Freedom { get; }

    /// <summary>Of so large a chi squared.</summary>
    public double Probability { get; }

    /// <summary>Whether the bars have been widened.</summary>
    public bool Widened { get; }

    /// <summary>Fits.</summary>
    /// <param name="request">Stars.</param>
    /// <param name="x">Their places from the middle, mm.</param>
    /// <param name="y">The same upwards.</param>
    public static ComaLaw Of(ComaAxisRequest request, double[] x, double[] y)
    {
        int n = x.Length;
        Matrix<double>[] weight = [.. Enumerable.Range(0, n).Select(i => Weight(request, i))];
        Matrix<double>[] row = [.. Enumerable.Range(0, n).Select(i => Matrix<double>.Build.DenseOfArray(new[,] { { 1, 0, x[i] }, { 0, 1, y[i] } }))];
        Vector<double>[] seen = [.. Enumerable.Range(0, n).Select(i => Vector<double>.Build.DenseOfArray([request.ComaX[i], request.ComaY[i]]))];
        var normal = Matrix<double>.Build.Dense(3, 3);
        var side = Vector<double>.Build.Dense(3);
        for (int i = 0; i < n; i++)
        {
            normal += row[i].Transpose() * weight[i] * row[i];
            side += row[i].Transpose() * weight[i] * seen[i];
        }

        Matrix<double> covariance = PositiveDefinite.Inverse(normal)
            ?? throw new CannotMeasureException("coma-axis.one-place", "All stars stand at one place of the sensor. Take stars at different places.");
        Vector<double> values = covariance * side;
        Vector<double>[] rest = [.. Enumerable.Range(0, n).Select(i => seen[i] - (row[i] * values))];
        double chi = rest.Select((r, i) => r * (weight[i] * r)).Sum();
        int freedom = (2 * n) - 3;
        bool widen = freedom > 0 && 1 - ChiSquaredOf(freedom).CumulativeDistribution(chi) < ScatterFrom;
        covariance *= widen ? chi / freedom : 1;
        if (request.Together)
        {
            // What moving air leaves is in all stars alike: it moves the constant part.
            double air = request.AirNm.Average(a => a * a);
            covariance[0, 0] += air;
            covariance[1, 1] += air;
        }

        return new ComaLaw([.. values], covariance, [.. rest.Select(r => r.ToArray())], chi, freedom);
    }

    /// <summary>Standard uncertainty of a star's Noll 8 and 7 as they are weighed.</summary>
    public static (double X, double Y) Bars(ComaAxisRequest request, int i)
    {
        double coma = Math.Sqrt((request.ComaX[i] * request.ComaX[i]) + (request.ComaY[i] * request.ComaY[i]));
        double more = Math.Pow(MissedNm, 2) + Math.Pow(MissedShare * coma, 2) + (request.Together ? 0 : request.AirNm[i] * request.AirNm[i]);
        return (Math.Sqrt(request.VarianceX[i] + more), Math.Sqrt(request.VarianceY[i] + more));
    }

    private static Matrix<double> Weight(ComaAxisRequest request, int i)
    {
        (double x, double y) = Bars(request, i);
        return Matrix<double>.Build.DenseOfArray(new[,] { { x * x, request.Covariance[i] }, { request.Covariance[i], y * y } }).Inverse();
    }

    private static ChiSquared ChiSquaredOf(int freedom) => new(freedom);
}
