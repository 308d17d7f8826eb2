using MathNet.Numerics.Distributions;
using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ComaAxis;

/// <summary>Coma of third order over the field fitted to single stars by weighted least squares: Noll 8 + i Noll 7 = a + ib + s h.</summary>
/// <remarks>
/// Beside photons every star errs by something of its own: the air in its direction, what the fit of its disc misses. Its size t is one more unknown,
/// told by the scatter about the law as far as so few stars tell it: values and covariance are averages over t, weighted by the restricted likelihood
/// (Patterson and Thompson 1971, Biometrika 58, 545, from memory) times half a Cauchy distribution (Gelman 2006, Bayesian Analysis 1, 515, from memory).
/// A threshold from which bars are widened leaves them too small below it.
/// </remarks>
internal sealed class ComaLaw
{
    // Half of all telescopes leave less than this in a star of its own: width of the Cauchy distribution (drawn stars that were tuned on).
    private const double OwnNm = 0.5;

    // Sizes of it that are averaged over, and the smallest and largest over the width and over the scatter.
    private const int Sizes = 48;
    private const double Smallest = 0.02, Largest = 10;

    // Below this probability the scatter is said; chance alone does it once in twenty times.
    private const double ScatterFrom = 0.05;

    private ComaLaw(double[] values, Matrix<double> covariance, double ownNm, double[][] rest, double chi, int freedom)
    {
        (Values, Covariance, Own, Rest, ChiSquared, Freedom) = (values, covariance, ownNm, rest, chi, freedom);
        Probability = freedom > 0 ? 1 - new ChiSquared(freedom).CumulativeDistribution(chi) : double.NaN;
        Scatters = Probability < ScatterFrom;
    }

    /// <summary>a and b in nm, s in nm per mm.</summary>
    public double[] Values { get; }

    /// <summary>Theirs.</summary>
    public Matrix<double> Covariance { get; }

    /// <summary>RMS of what each star has of its own beside its bars, nm in each component.</summary>
    public double Own { get; }

    /// <summary>Measured less the law, Noll 8 and 7 of each star.</summary>
    public double[][] Rest { get; }

    /// <summary>Chi squared by the stars' own bars.</summary>
    public double ChiSquared { get; }

    /// <summary>Its degrees of freedom.</summary>
    public int Freedom { get; }

    /// <summary>Of so large a chi squared.</summary>
    public double Probability { get; }

    /// <summary>Whether the stars scatter by more than their own bars.</summary>
    public bool Scatters { get; }

    /// <summary>Fits.</summary>
    /// <param name="request">Stars.</param>
    public static ComaLaw Of(ComaAxisRequest request)
    {
        int n = request.X.Count;
        Matrix<double>[] row = [.. Enumerable.Range(0, n).Select(i => Row(request, i))];
        Vector<double>[] seen = [.. Enumerable.Range(0, n).Select(i => Vector<double>.Build.DenseOfArray([request.ComaX[i], request.ComaY[i]]))];
        Matrix<double>[] own = [.. Enumerable.Range(0, n).Select(i => Variance(request, i))];
        Solution alone = Solve(row, seen, own, 0);
        int freedom = (2 * n) - 3;
        double scatter = Math.Sqrt(alone.Rest.Sum(r => r * r) / Math.Max(1, freedom));
        double from = Math.Log(Smallest * OwnNm), to = Math.Log(Largest * (scatter + OwnNm));
        double[] size = [.. Enumerable.Range(0, Sizes).Select(k => Math.Exp(from + ((to - from) * k / (Sizes - 1))))];
        Solution[] at = [.. size.Select(t => Solve(row, seen, own, t))];

        // Even steps of log t: its density times t.
        double[] log = [.. at.Select((f, k) => f.LogLikelihood + Math.Log(size[k] / (1 + Math.Pow(size[k] / OwnNm, 2))))];
        double highest = log.Max(), sum = log.Sum(v => Math.Exp(v - highest));
        double[] share = [.. log.Select(v => Math.Exp(v - highest) / sum)];
        Vector<double> values = Vector<double>.Build.Dense(3);
        for (int k = 0; k < Sizes; k++)
        {
            values += share[k] * at[k].Values;
        }

        Matrix<double> covariance = Matrix<double>.Build.Dense(3, 3);
        for (int k = 0; k < Sizes; k++)
        {
            Vector<double> away = at[k].Values - values;
            covariance += share[k] * (at[k].Covariance + away.OuterProduct(away));
        }

        if (request.Together)
        {
            // What moving air leaves is in all stars alike: it moves the constant part.
            double air = request.AirNm.Average(a => a * a);
            covariance[0, 0] += air;
            covariance[1, 1] += air;
        }

        double[][] rest = [.. Enumerable.Range(0, n).Select(i => (seen[i] - (row[i] * values)).ToArray())];
        double mean = Math.Sqrt(share.Select((s, k) => s * size[k] * size[k]).Sum());
        return new ComaLaw([.. values], covariance, mean, rest, alone.ChiSquared, freedom);
    }

    /// <summary>Standard uncertainty of a star's Noll 8 and 7 as they are weighed.</summary>
    public (double X, double Y) Bars(ComaAxisRequest request, int i)
    {
        Matrix<double> variance = Variance(request, i);
        return (Math.Sqrt(variance[0, 0] + (Own * Own)), Math.Sqrt(variance[1, 1] + (Own * Own)));
    }

    /// <summary>Noll 8 and 7 by the law at the place of a star, which need not be one of those fitted.</summary>
    public (double X, double Y) At(ComaAxisRequest request, int i)
    {
        Vector<double> coma = Row(request, i) * Vector<double>.Build.DenseOfArray(Values);
        return (coma[0], coma[1]);
    }

    // By the place from the sensor's middle, mm.
    private static Matrix<double> Row(ComaAxisRequest request, int i)
    {
        double perPixel = request.PitchUm / 1000;
        double x = (request.X[i] - ((request.Width - 1) / 2.0)) * perPixel, y = (request.Y[i] - ((request.Height - 1) / 2.0)) * perPixel;
        return Matrix<double>.Build.DenseOfArray(new[,] { { 1, 0, x }, { 0, 1, y } });
    }

    // Of photons and misfit, and of the air where the stars were exposed one after the other.
    private static Matrix<double> Variance(ComaAxisRequest request, int i)
    {
        double air = request.Together ? 0 : request.AirNm[i] * request.AirNm[i], between = request.Covariance[i];
        return Matrix<double>.Build.DenseOfArray(new[,] { { request.VarianceX[i] + air, between }, { between, request.VarianceY[i] + air } });
    }

    private static Solution Solve(Matrix<double>[] row, Vector<double>[] seen, Matrix<double>[] variance, double ownNm)
    {
        var more = Matrix<double>.Build.DenseDiagonal(2, 2, ownNm * ownNm);
        var normal = Matrix<double>.Build.Dense(3, 3);
        var side = Vector<double>.Build.Dense(3);
        Matrix<double>[] weight = [.. variance.Select(v => (v + more).Inverse())];
        for (int i = 0; i < row.Length; i++)
        {
            normal += row[i].Transpose() * weight[i] * row[i];
            side += row[i].Transpose() * weight[i] * seen[i];
        }

        Matrix<double> covariance = PositiveDefinite.Inverse(normal)
            ?? throw new CannotMeasureException("coma-axis.one-place", "All stars stand at one place of the sensor. Take stars at different places.");
        Vector<double> values = covariance * side;
        Vector<double>[] rest = [.. row.Select((r, i) => seen[i] - (r * values))];
        double chi = rest.Select((r, i) => r * (weight[i] * r)).Sum();
        double likelihood = (weight.Sum(w => Math.Log(w.Determinant())) + Math.Log(covariance.Determinant()) - chi) / 2;
        return new Solution(values, covariance, rest, chi, likelihood);
    }

    private sealed record Solution(Vector<double> Values, Matrix<double> Covariance, Vector<double>[] Rest, double ChiSquared, double LogLikelihood);
}
