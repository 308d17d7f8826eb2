using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.Reflections;

/// <summary>An ellipse by its middle, mean radius and two numbers that draw it out.</summary>
/// <remarks>
/// 1 / rho^2 = (1 - g1 cos 2t - g2 sin 2t) / r^2 about the middle: exactly an ellipse, with half axes r / sqrt(1 -+ |g|), and well behaved
/// where it is a circle and has no axes.
/// </remarks>
/// <param name="X">Middle.</param>
/// <param name="Y">Middle.</param>
/// <param name="R">Mean radius.</param>
/// <param name="G1">How it is drawn out along x.</param>
/// <param name="G2">How it is drawn out along the diagonal.</param>
internal readonly record struct Outline(double X, double Y, double R, double G1, double G2)
{
    /// <summary>How much it is drawn out.</summary>
    public double G => Math.Sqrt((G1 * G1) + (G2 * G2));

    /// <summary>Long half axis.</summary>
    public double Long => R / Math.Sqrt(1 - Math.Min(G, 0.999));

    /// <summary>Short half axis.</summary>
    public double Short => R / Math.Sqrt(1 + G);

    /// <summary>Direction of the long axis, radians.</summary>
    public double Angle => Math.Atan2(G2, G1) / 2;

    /// <summary>Distance of the outline from its middle in a direction, and its derivative by the direction.</summary>
    public (double Radius, double Slope) At(double turn)
    {
        (double s, double c) = Math.SinCos(2 * turn);
        double h = Math.Max(1 - (G1 * c) - (G2 * s), 1e-3), radius = R / Math.Sqrt(h);
        return (radius, -radius / h * ((G1 * s) - (G2 * c)));
    }

    /// <summary>Distance of a point from the outline, along the normal to first order, growing outward; and its direction from the middle.</summary>
    public (double Distance, double Turn) Of(double x, double y)
    {
        double dx = x - X, dy = y - Y, turn = Math.Atan2(dy, dx);
        (double radius, double slope) = At(turn);
        double lean = slope / radius;
        return ((Math.Sqrt((dx * dx) + (dy * dy)) - radius) / Math.Sqrt(1 + (lean * lean)), turn);
    }

    /// <summary>Least squares over points with weights that wild ones do not move (Tukey's).</summary>
    /// <param name="x">Points, in order of their direction.</param>
    /// <param name="y">Points.</param>
    /// <param name="round">Whether it stays a circle.</param>
    /// <param name="floor">Least usual distance that is taken for one.</param>
    /// <returns>The outline, the covariance of its five numbers, the weights, and the RMS distance of what was used. The covariance allows for
    /// distances of neighbors that hang together.</returns>
    public (Outline Best, Matrix<double> Covariance, double[] Weight, double Rms) Fit(double[] x, double[] y, bool round, double floor = 0.01)
    {
        const int Most = 30;
        int unknowns = round ? 3 : 5;
        Outline best = this;
        double[] weight = new double[x.Length], distance = new double[x.Length];
        double[,] slopes = new double[x.Length, unknowns];
        Matrix<double>? inverse = null;
        for (int lap = 0; lap < Most; lap++)
        {
            for (int i = 0; i < x.Length; i++)
            {
                best.Row(x[i], y[i], unknowns, slopes, i, out distance[i]);
            }

            double usual = Math.Max(1.4826 * Robust.Median(distance.Select(Math.Abs)), floor), limit = 4.7 * usual;
            var normal = Matrix<double>.Build.Dense(unknowns, unknowns);
            var side = Vector<double>.Build.Dense(unknowns);
            for (int i = 0; i < x.Length; i++)
            {
                double z = distance[i] / limit;
                weight[i] = Math.Abs(z) < 1 ? Math.Pow(1 - (z * z), 2) : 0;
                for (int a = 0; a < unknowns; a++)
                {
                    side[a] -= weight[i] * slopes[i, a] * distance[i];
                    for (int b = 0; b < unknowns; b++)
                    {
                        normal[a, b] += weight[i] * slopes[i, a] * slopes[i, b];
                    }
                }
            }

            inverse = PositiveDefinite.Inverse(normal);
            if (inverse is null)
            {
                break;
            }

            Vector<double> step = inverse * side;
            double g1 = unknowns > 3 ? step[3] : 0, g2 = unknowns > 3 ? step[4] : 0;
            best = new Outline(best.X + step[0], best.Y + step[1], Math.Max(best.R + step[2], 0.2 * best.R), Math.Clamp(best.G1 + g1, -0.7, 0.7),
                Math.Clamp(best.G2 + g2, -0.7, 0.7));
            if (lap > 3 && step.L2Norm() < 1e-7 * (1 + best.R))
            {
                break;
            }
        }

        var covariance = Matrix<double>.Build.Dense(5, 5);
        double sum = 0, squares = 0;
        for (int i = 0; i < x.Length; i++)
        {
            sum += weight[i];
            squares += weight[i] * distance[i] * distance[i];
        }

        double variance = sum > 6 ? squares / (sum - unknowns * 0.9) : double.PositiveInfinity;
        if (inverse is not null && sum > 6)
        {
            covariance.SetSubMatrix(0, 0, inverse * (Math.Max(variance, floor * floor) * HangTogether(distance, weight)));
        }

        return (best, covariance, weight, Math.Sqrt(squares / Math.Max(sum, 1e-9)));
    }

    // By how much variances of means grow because neighbors' distances are alike: 1 + 2 x the sum of correlations up to the first that is none.
    private static double HangTogether(double[] distance, double[] weight)
    {
        double[] used = [.. Enumerable.Range(0, distance.Length).Where(i => weight[i] > 0.1).Select(i => distance[i])];
        int n = used.Length;
        double power = used.Sum(d => d * d), grown = 1;
        for (int lag = 1; lag < n / 6 && power > 0; lag++)
        {
            double sum = 0;
            for (int i = 0; i < n; i++)
            {
                sum += used[i] * used[(i + lag) % n];
            }

            if (sum < power / Math.Sqrt(n))
            {
                break;
            }

            grown += 2 * sum / power;
        }

        return grown;
    }

    private void Row(double x, double y, int unknowns, double[,] slopes, int i, out double distance)
    {
        double dx = x - X, dy = y - Y, far = Math.Max(Math.Sqrt((dx * dx) + (dy * dy)), 1e-9), turn = Math.Atan2(dy, dx);
        (double radius, double slope) = At(turn);
        double lean = slope / radius, cosine = 1 / Math.Sqrt(1 + (lean * lean));
        distance = (far - radius) * cosine;
        (double s, double c) = Math.SinCos(turn);
        slopes[i, 0] = (-c - (slope * s / far)) * cosine;
        slopes[i, 1] = (-s + (slope * c / far)) * cosine;
        slopes[i, 2] = -radius / R * cosine;
        if (unknowns > 3)
        {
            (double s2, double c2) = Math.SinCos(2 * turn);
            double bow = radius * radius * radius / (2 * R * R) * cosine;
            slopes[i, 3] = -bow * c2;
            slopes[i, 4] = -bow * s2;
        }
    }
}
