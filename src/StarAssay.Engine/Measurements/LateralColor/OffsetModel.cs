using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.LateralColor;

/// <summary>A star in two colors.</summary>
/// <param name="U">Column from the middle of the sensor over half the diagonal, in the color compared with.</param>
/// <param name="V">Row from the middle over the same.</param>
/// <param name="Dx">Offset of the compared color along x, pixels.</param>
/// <param name="Dy">The same along y.</param>
/// <param name="Sx">Standard uncertainty of Dx.</param>
/// <param name="Sy">The same of Dy.</param>
/// <param name="X">Column, pixels.</param>
/// <param name="Y">Row, pixels.</param>
internal readonly record struct StarOffset(double U, double V, double Dx, double Dy, double Sx, double Sy, double X, double Y);

/// <summary>
/// Offsets over the field: a constant, a turn, a difference of scale s, its third order t, a decentered part p and q
/// (Brown 1966), and for frames that moved the two linear parts e that refraction squeezes into a field.
/// dx = a + s u - w v + t r^2 u + p (r^2 + 2 u^2) + 2 q u v + e1 u + e2 v,
/// dy = b + s v + w u + t r^2 v + 2 p u v + q (r^2 + 2 v^2) + e2 u - e1 v.
/// </summary>
/// <remarks>Moving a place r by d in an image with third-order distortion k r^2 r adds k (d r^2 + 2 r (r.d)), which is the form of the
/// decentered part with p, q = k d; of second order it adds k (d^2 r + 2 d (d.r)), whose part without direction is 2 k d^2 r and is taken
/// off the difference of scale as 2 (p, q).d.</remarks>
internal sealed class OffsetModel
{
    /// <summary>Places of the unknowns.</summary>
    public const int A = 0, B = 1, S = 2, W = 3, T = 4, P = 5, Q = 6, E1 = 7, E2 = 8;

    /// <summary>Fewer stars do not carry third order and decentered part.</summary>
    public const int StarsForThird = 12;

    private const int All = 9, Rounds = 30;

    // A star's center is never surer than this: pixels' own response moves it (common practice, no source).
    private const double LeastSigma = 0.003;

    private readonly StarOffset[] stars;
    private readonly int[] free;
    private readonly (double X, double Y) move;

    private OffsetModel(StarOffset[] stars, bool moved, (double X, double Y) move)
    {
        (this.stars, this.move) = (stars, move);
        HasThird = stars.Length >= StarsForThird;
        free = [A, B, S, W, .. HasThird ? [T, P, Q] : Array.Empty<int>(), .. moved && HasThird ? [E1, E2] : Array.Empty<int>()];
        Values = new double[All];
        Covariance = Matrix<double>.Build.Dense(All, All);
        Used = [.. stars.Select(_ => true)];
    }

    /// <summary>The unknowns, pixels; those not fitted are zero.</summary>
    public double[] Values { get; }

    /// <summary>Their covariance.</summary>
    public Matrix<double> Covariance { get; private set; }

    /// <summary>Which stars are behind the fit.</summary>
    public bool[] Used { get; }

    /// <summary>Scatter added to the stars' uncertainties, pixels.</summary>
    public double Added { get; private set; }

    /// <summary>Whether third order and decentered part are among the unknowns.</summary>
    public bool HasThird { get; private set; }

    /// <summary>Equations beyond the unknowns.</summary>
    public int Freedom => (2 * Used.Count(u => u)) - free.Length;

    /// <summary>Fits the stars; null where they do not carry the unknowns.</summary>
    /// <param name="stars">Offsets in two colors.</param>
    /// <param name="moved">Whether the colors are of two exposures.</param>
    /// <param name="move">By how much the compared frame moved, over half the diagonal.</param>
    public static OffsetModel? Fit(StarOffset[] stars, bool moved, (double X, double Y) move)
    {
        var model = new OffsetModel(stars, moved, move);
        model.Added = Math.Max(LeastSigma, Start(stars));
        for (int round = 0; round < Rounds; round++)
        {
            if (!model.Solve())
            {
                return null;
            }

            if (!model.Reject())
            {
                break;
            }
        }

        return model;
    }

    /// <summary>Difference of scale, pixels at the corner, freed from what a move makes of distortion.</summary>
    public (double Value, double Sigma) Scale => (Values[S] - (2 * ((Values[P] * move.X) + (Values[Q] * move.Y))), Sigma([.. Slopes(1)]));

    /// <summary>Standard uncertainty of a linear function of the unknowns.</summary>
    public double Sigma(params (int Of, double Slope)[] parts)
    {
        double sum = 0;
        foreach ((int i, double a) in parts)
        {
            foreach ((int j, double b) in parts)
            {
                sum += a * b * Covariance[i, j];
            }
        }

        return Math.Sqrt(Math.Max(0, sum));
    }

    /// <summary>Radial difference at r times the corner's height and its standard uncertainty, pixels.</summary>
    public (double Value, double Sigma) Radial(double r)
    {
        double third = r * r * r;
        return ((r * Scale.Value) + (third * Values[T]), Sigma([.. Slopes(r), (T, third)]));
    }

    /// <summary>Standard uncertainty of one star's offset with the scatter, mean of both axes.</summary>
    public double Uncertainty(int i) => Math.Sqrt(((Squared(stars[i].Sx) + Squared(stars[i].Sy)) / 2) + (Added * Added));

    /// <summary>Offset of a star without constant and turn.</summary>
    public (double X, double Y) Bare(int i) =>
        (stars[i].Dx - Values[A] + (Values[W] * stars[i].V), stars[i].Dy - Values[B] - (Values[W] * stars[i].U));

    private static double Squared(double v) => v * v;

    // Robust scatter of the offsets about their median: where the first turn begins, so that no wrong star rules it.
    private static double Start(StarOffset[] stars)
    {
        (_, double x) = Robust.MedianAndSigma(stars.Select(s => s.Dx).ToArray());
        (_, double y) = Robust.MedianAndSigma(stars.Select(s => s.Dy).ToArray());
        return Math.Sqrt((x * x) + (y * y));
    }

    private static (double[] X, double[] Y) Rows(StarOffset s)
    {
        double u = s.U, v = s.V, r2 = (u * u) + (v * v);
        return ([1, 0, u, -v, r2 * u, r2 + (2 * u * u), 2 * u * v, u, v],
            [0, 1, v, u, r2 * v, 2 * u * v, r2 + (2 * v * v), -v, u]);
    }

    private (int Of, double Slope)[] Slopes(double r) => [(S, r), (P, -2 * r * move.X), (Q, -2 * r * move.Y)];

    private (double X, double Y) Residual(int i)
    {
        (double[] x, double[] y) = Rows(stars[i]);
        double rx = stars[i].Dx, ry = stars[i].Dy;
        foreach (int k in free)
        {
            rx -= x[k] * Values[k];
            ry -= y[k] * Values[k];
        }

        return (rx, ry);
    }

    private bool Solve()
    {
        for (int turn = 0; turn < 25; turn++)
        {
            int n = free.Length;
            if (Freedom <= 0)
            {
                return false;
            }

            var normal = Matrix<double>.Build.Dense(n, n);
            var right = Vector<double>.Build.Dense(n);
            for (int i = 0; i < stars.Length; i++)
            {
                if (!Used[i])
                {
                    continue;
                }

                (double[] x, double[] y) = Rows(stars[i]);
                double wx = 1 / (Squared(stars[i].Sx) + Squared(Added)), wy = 1 / (Squared(stars[i].Sy) + Squared(Added));
                for (int j = 0; j < n; j++)
                {
                    right[j] += (wx * x[free[j]] * stars[i].Dx) + (wy * y[free[j]] * stars[i].Dy);
                    for (int k = 0; k < n; k++)
                    {
                        normal[j, k] += (wx * x[free[j]] * x[free[k]]) + (wy * y[free[j]] * y[free[k]]);
                    }
                }
            }

            if (PositiveDefinite.Inverse(normal) is not { } inverse)
            {
                return false;
            }

            Vector<double> found = inverse * right;
            Array.Clear(Values);
            Covariance.Clear();
            for (int j = 0; j < n; j++)
            {
                Values[free[j]] = found[j];
                for (int k = 0; k < n; k++)
                {
                    Covariance[free[j], free[k]] = inverse[j, k];
                }
            }

            double before = Added;
            Added = ScatterBeyond();
            if (Math.Abs(Added - before) <= 1e-5 * Added)
            {
                break;
            }
        }

        return true;
    }

    /// <summary>Scatter that makes chi^2 the number of degrees of freedom.</summary>
    private double ScatterBeyond()
    {
        double Chi2(double added) => Enumerable.Range(0, stars.Length).Where(i => Used[i]).Sum(i =>
        {
            (double x, double y) = Residual(i);
            return (x * x / (Squared(stars[i].Sx) + Squared(added))) + (y * y / (Squared(stars[i].Sy) + Squared(added)));
        });
        if (Chi2(LeastSigma) <= Freedom)
        {
            return LeastSigma;
        }

        double low = LeastSigma, high = 0.1;
        while (Chi2(high) > Freedom)
        {
            high *= 2;
        }

        for (int turn = 0; turn < 60; turn++)
        {
            double middle = (low + high) / 2;
            (low, high) = Chi2(middle) > Freedom ? (middle, high) : (low, middle);
        }

        return (low + high) / 2;
    }

    /// <summary>Leaves out what lies farther off than the others' scatter allows; true when anything changed.</summary>
    private bool Reject()
    {
        double[] apart = [.. Enumerable.Range(0, stars.Length).Select(i =>
        {
            (double x, double y) = Residual(i);
            return Math.Sqrt(((x * x / (Squared(stars[i].Sx) + Squared(Added))) + (y * y / (Squared(stars[i].Sy) + Squared(Added)))) / 2);
        })];

        // The median of a Rayleigh distribution in units of the scatter of one axis, over sqrt(2).
        double usual = Robust.Median(apart.Where((_, i) => Used[i])) / 0.8326;
        bool changed = false;
        for (int i = 0; i < stars.Length; i++)
        {
            // 3.6 times the root mean square: one good pair of coordinates in 400 000. Where scatter was added for the sake of wrong
            // stars, the median is the scatter of the others.
            bool good = apart[i] < 3.6 * usual;
            changed |= good != Used[i];
            Used[i] = good;
        }

        return changed;
    }
}
