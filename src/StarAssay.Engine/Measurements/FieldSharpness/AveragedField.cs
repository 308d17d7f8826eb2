using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using Complex = System.Numerics.Complex;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>What one unknown of a smooth field adds at a place; the imaginary part belongs to the second component.</summary>
internal delegate Complex FieldTerm(Complex place);

/// <summary>
/// A smooth field over the sensor: polynomials of several orders, each fitted to all stars, averaged by what the stars say for each.
/// </summary>
/// <remarks>
/// The stars' scatter beyond their own uncertainties is taken from the richest polynomial and added to them. Every polynomial is then fitted
/// with Cauchy's weights; its weight is that of Akaike's criterion (IEEE Trans. Autom. Control 19, 716, 1974; from memory), which asks for
/// what predicts best, since corners are predicted more than they are seen. A number read off the field is the average over the
/// polynomials, its variance theirs and that between them (Burnham and Anderson, Model Selection, ch. 4; from memory).
/// </remarks>
internal sealed class AveragedField
{
    // Residual beyond which a star counts for less, in its standard uncertainties.
    private const double Bend = 2.5;

    private const int Rounds = 15;
    private const double LeastWeight = 1e-3;

    private readonly List<Member> members = [];

    private AveragedField()
    {
    }

    /// <summary>Scatter of the stars about the field beyond their own uncertainties.</summary>
    public double Scatter { get; private set; }

    /// <summary>Number of unknowns of the likeliest polynomial.</summary>
    public int Unknowns => members.MaxBy(m => m.Weight)!.C.Length;

    /// <summary>Fits a field.</summary>
    /// <param name="place">Where the stars stand.</param>
    /// <param name="value">What each shows.</param>
    /// <param name="sigma">Standard uncertainty of either component.</param>
    /// <param name="components">1 or 2.</param>
    /// <param name="candidates">Terms of each polynomial, the richest last.</param>
    public static AveragedField Fit(Complex[] place, Complex[] value, double[] sigma, int components, IReadOnlyList<FieldTerm[]> candidates)
    {
        int n = place.Length;
        FieldTerm[][] usable = [.. candidates.Where(c => 3 * c.Length <= n * components)];
        usable = usable.Length > 0 ? usable : [candidates[0]];
        var field = new AveragedField();
        double[] error = [.. sigma];
        for (int round = 0; round < 3; round++)
        {
            Fitted richest = Solve(usable[^1], place, value, error, components);
            field.Scatter = Extra(richest.Residual, sigma, components, usable[^1].Length);
            error = [.. sigma.Select(s => Math.Sqrt((s * s) + (field.Scatter * field.Scatter)))];
        }

        Fitted[] all = [.. usable.Select(terms => Solve(terms, place, value, error, components))];
        double least = all.Min(f => f.Criterion);
        double[] weight = [.. all.Select(f => Math.Exp(-0.5 * (f.Criterion - least)))];
        double sum = weight.Sum();
        for (int k = 0; k < all.Length; k++)
        {
            if (weight[k] > LeastWeight * sum)
            {
                field.members.Add(new Member(usable[k], all[k].C, all[k].Steps, weight[k] / sum));
            }
        }

        return field;
    }

    /// <summary>The field at a place, averaged.</summary>
    public Complex At(Complex place)
    {
        (Complex sum, double weights) = (Complex.Zero, 0);
        foreach (Member m in members)
        {
            sum += m.Weight * Sum(m.Terms, m.C, place);
            weights += m.Weight;
        }

        return sum / weights;
    }

    /// <summary>A number read off the field with its standard uncertainty.</summary>
    /// <param name="read">From the field to the number.</param>
    public (double Value, double Sigma) Of(Func<Func<Complex, Complex>, double> read)
    {
        (double weights, double mean, double square) = (0, 0, 0);
        foreach (Member m in members)
        {
            double Read(double[] c) => read(place => Sum(m.Terms, c, place));
            double value = Read(m.C), variance = 0;
            foreach (double[] step in m.Steps)
            {
                double up = Read([.. m.C.Select((c, k) => c + step[k])]), down = Read([.. m.C.Select((c, k) => c - step[k])]);
                variance += 0.25 * (up - down) * (up - down);
            }

            weights += m.Weight;
            mean += m.Weight * value;
            square += m.Weight * ((value * value) + variance);
        }

        mean /= weights;
        return (mean, Math.Sqrt(Math.Max(0, (square / weights) - (mean * mean))));
    }

    private static Complex Sum(FieldTerm[] terms, double[] c, Complex place)
    {
        Complex sum = Complex.Zero;
        for (int k = 0; k < terms.Length; k++)
        {
            sum += c[k] * terms[k](place);
        }

        return sum;
    }

    private static Fitted Solve(FieldTerm[] terms, Complex[] place, Complex[] value, double[] error, int components)
    {
        int n = place.Length, p = terms.Length;
        var rows = new Complex[n][];
        for (int i = 0; i < n; i++)
        {
            rows[i] = [.. terms.Select(t => t(place[i]))];
        }

        double[] weight = [.. error.Select(e => 1 / (e * e))], c = new double[p];
        var residual = new Complex[n];
        Matrix<double>? inverse = null;
        double bend2 = Bend * Bend * components, cost = 0, squares = 0, counted = 0;
        for (int round = 0; round < Rounds; round++)
        {
            var a = Matrix<double>.Build.Dense(p, p);
            var b = Vector<double>.Build.Dense(p);
            for (int i = 0; i < n; i++)
            {
                for (int j = 0; j < p; j++)
                {
                    Complex r = rows[i][j];
                    b[j] += weight[i] * ((r.Real * value[i].Real) + (r.Imaginary * value[i].Imaginary));
                    for (int k = 0; k <= j; k++)
                    {
                        a[j, k] += weight[i] * ((r.Real * rows[i][k].Real) + (r.Imaginary * rows[i][k].Imaginary));
                    }
                }
            }

            for (int j = 0; j < p; j++)
            {
                a[j, j] *= 1 + 1e-12;
                for (int k = 0; k < j; k++)
                {
                    a[k, j] = a[j, k];
                }
            }

            inverse = PositiveDefinite.Inverse(a) ?? PositiveDefinite.Inverse(a, 1e-9)!;
            c = (inverse * b).ToArray();
            (cost, squares, counted) = (0, 0, 0);
            for (int i = 0; i < n; i++)
            {
                residual[i] = value[i] - Dot(rows[i], c);
                double e2 = error[i] * error[i], r2 = ((residual[i].Real * residual[i].Real) + (residual[i].Imaginary * residual[i].Imaginary)) / e2;
                double w = 1 / (1 + (r2 / bend2));
                weight[i] = w / e2;
                cost += bend2 * Math.Log(1 + (r2 / bend2));
                squares += w * r2;
                counted += w * components;
            }
        }

        // Stars that scatter by more than their uncertainties about this polynomial make its unknowns less sure.
        double wide = Math.Max(1, squares / Math.Max(1, counted - p));
        Matrix<double> root = (inverse! * wide).Cholesky().Factor;
        double[][] steps = [.. Enumerable.Range(0, p).Select(k => root.Column(k).ToArray())];
        return new Fitted(c, steps, residual, cost + (2 * p));
    }

    private static Complex Dot(Complex[] row, double[] c)
    {
        Complex sum = Complex.Zero;
        for (int k = 0; k < row.Length; k++)
        {
            sum += c[k] * row[k];
        }

        return sum;
    }

    /// <summary>What must be added to the stars' uncertainties so that half of the residuals lie within 0.6745 of them.</summary>
    private static double Extra(Complex[] residual, double[] sigma, int components, int unknowns)
    {
        int n = residual.Length;
        double freedom = Math.Sqrt(n * components / Math.Max(1.0, (n * components) - unknowns));
        double Middle(double extra)
        {
            var ratios = new List<double>(2 * n);
            for (int i = 0; i < n; i++)
            {
                double e = Math.Sqrt((sigma[i] * sigma[i]) + (extra * extra));
                ratios.Add(Math.Abs(residual[i].Real) / e);
                if (components > 1)
                {
                    ratios.Add(Math.Abs(residual[i].Imaginary) / e);
                }
            }

            return 1.4826 * freedom * Robust.Median(ratios);
        }

        if (!(Middle(0) > 1))
        {
            return 0;
        }

        (double low, double high) = (0, residual.Max(r => r.Magnitude) + 1e-12);
        for (int k = 0; k < 50; k++)
        {
            double middle = 0.5 * (low + high);
            (low, high) = Middle(middle) > 1 ? (middle, high) : (low, middle);
        }

        return high;
    }

    private sealed record Member(FieldTerm[] Terms, double[] C, double[][] Steps, double Weight);

    private sealed record Fitted(double[] C, double[][] Steps, Complex[] Residual, double Criterion);
}
