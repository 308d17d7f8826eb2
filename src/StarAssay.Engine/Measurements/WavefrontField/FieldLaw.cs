using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>What one star says: components with their photon variances, and what each unknown adds to them.</summary>
/// <param name="Value">Components.</param>
/// <param name="Variance">Of each.</param>
/// <param name="Row">Component by unknown.</param>
internal sealed record StarValue(double[] Value, double[] Variance, double[,] Row);

/// <summary>Linear law of a mode over the field, fitted robustly; the stars' scatter about it decides on the uncertainties.</summary>
/// <remarks>
/// Weights are 1 / (photon variance + scatter^2), with the scatter that the stars' residuals ask for (their median), times Cauchy's
/// 1 / (1 + (r / 2.385)^2), which is 95 % efficient for normal errors (Holland and Welsch 1977, from memory). The covariance is that of
/// leaving out each star in turn with all its components (the jackknife). Weights are kept there, so that it is too small by the squared
/// mean slope of the weighted residuals over the mean weight (Huber 1981, Robust Statistics, from memory), which is put right.
/// </remarks>
internal sealed class FieldLaw
{
    private const double Tuning = 2.385;
    private const int Rounds = 20;

    private FieldLaw(double[] values, Matrix<double> covariance, double scatter, double[] weight)
    {
        (Values, Covariance, Scatter, Weight) = (values, covariance, scatter, weight);
    }

    /// <summary>The unknowns.</summary>
    public double[] Values { get; }

    /// <summary>Their covariance.</summary>
    public Matrix<double> Covariance { get; }

    /// <summary>Standard deviation of the stars about the law beside their photons.</summary>
    public double Scatter { get; }

    /// <summary>Robust weight of each star, at most 1.</summary>
    public double[] Weight { get; }

    /// <summary>Fits.</summary>
    /// <param name="stars">What each star says.</param>
    public static FieldLaw Of(IReadOnlyList<StarValue> stars)
    {
        int n = stars.Count, components = stars[0].Value.Length, unknowns = stars[0].Row.GetLength(1);
        double[] weight = [.. Enumerable.Repeat(1.0, n)];
        double[] slope = [.. weight];
        double scatter2 = stars.Average(s => s.Variance.Average());
        double[] values = new double[unknowns];
        for (int round = 0; round < Rounds; round++)
        {
            values = Solve(stars, weight, scatter2, -1);
            double[][] rest = [.. stars.Select(s => Rest(s, values))];
            scatter2 = ScatterOf(stars, rest, Math.Sqrt(Math.Max(1, (n * components) - unknowns) / (double)(n * components)));
            for (int i = 0; i < n; i++)
            {
                double r2 = 0;
                for (int m = 0; m < components; m++)
                {
                    r2 += rest[i][m] * rest[i][m] / (stars[i].Variance[m] + scatter2) / components;
                }

                weight[i] = 1 / (1 + (r2 / (Tuning * Tuning)));
                slope[i] = weight[i] - (2.0 / components * weight[i] * weight[i] * r2 / (Tuning * Tuning));
            }
        }

        double[][] without = [.. Enumerable.Range(0, n).Select(i => Solve(stars, weight, scatter2, i))];
        double[] mean = [.. Enumerable.Range(0, unknowns).Select(k => without.Average(v => v[k]))];
        double wider = Math.Pow(weight.Sum() / Math.Max(slope.Sum(), 0.2 * weight.Sum()), 2);
        var covariance = Matrix<double>.Build.Dense(unknowns, unknowns,
            (j, k) => wider * (n - 1.0) / n * without.Sum(v => (v[j] - mean[j]) * (v[k] - mean[k])));
        return new FieldLaw(values, covariance, Math.Sqrt(scatter2), weight);
    }

    /// <summary>Standard uncertainty of an unknown.</summary>
    public double Sigma(int unknown) => Math.Sqrt(Covariance[unknown, unknown]);

    /// <summary>Standard uncertainty of any function of the unknowns, to first order.</summary>
    public double Sigma(Func<double[], double> of)
    {
        var slope = Vector<double>.Build.Dense(Values.Length, k =>
        {
            double step = Math.Max(1e-4 * Sigma(k), 1e-12);
            double[] up = [.. Values], down = [.. Values];
            up[k] += step;
            down[k] -= step;
            return (of(up) - of(down)) / (2 * step);
        });
        return Math.Sqrt(Math.Max(0, slope * (Covariance * slope)));
    }

    private static double[] Rest(StarValue star, double[] values)
    {
        double[] rest = [.. star.Value];
        for (int m = 0; m < rest.Length; m++)
        {
            for (int k = 0; k < values.Length; k++)
            {
                rest[m] -= star.Row[m, k] * values[k];
            }
        }

        return rest;
    }

    private static double[] Solve(IReadOnlyList<StarValue> stars, double[] weight, double scatter2, int leaveOut)
    {
        int unknowns = stars[0].Row.GetLength(1);
        var a = Matrix<double>.Build.Dense(unknowns, unknowns);
        var b = Vector<double>.Build.Dense(unknowns);
        for (int i = 0; i < stars.Count; i++)
        {
            if (i == leaveOut)
            {
                continue;
            }

            StarValue star = stars[i];
            for (int m = 0; m < star.Value.Length; m++)
            {
                double w = weight[i] / (star.Variance[m] + scatter2);
                for (int j = 0; j < unknowns; j++)
                {
                    b[j] += w * star.Row[m, j] * star.Value[m];
                    for (int k = 0; k < unknowns; k++)
                    {
                        a[j, k] += w * star.Row[m, j] * star.Row[m, k];
                    }
                }
            }
        }

        return a.Solve(b).ToArray();
    }

    /// <summary>Variance beside the photons' with which the median residual is that of a normal distribution.</summary>
    private static double ScatterOf(IReadOnlyList<StarValue> stars, double[][] rest, double freedom)
    {
        double expected = 0.6745 * freedom;
        double Median(double s2) => Robust.Median(stars.SelectMany((s, i) => rest[i].Select((r, m) => Math.Abs(r) / Math.Sqrt(s.Variance[m] + s2))));
        double least = 1e-6 * stars.Average(s => s.Variance.Average());
        double low = least, high = Math.Max(least, rest.Max(r => r.Max(v => v * v)) * 10);
        if (Median(low) <= expected)
        {
            return low;
        }

        for (int k = 0; k < 60; k++)
        {
            double middle = Math.Sqrt(low * high);
            (low, high) = Median(middle) > expected ? (middle, high) : (low, middle);
        }

        return high;
    }
}
