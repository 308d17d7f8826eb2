using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using Complex = System.Numerics.Complex;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>One star as the pattern is fitted to it.</summary>
/// <param name="Z">Place from the middle over half the diagonal.</param>
/// <param name="LogSize2">Logarithm of the squared half-flux radius over the field's median.</param>
/// <param name="LogSize2Error">Its standard uncertainty, scatter included.</param>
/// <param name="Shape">Lengthening, (a^2 - b^2) / (a^2 + b^2) exp(2 i angle).</param>
/// <param name="ShapeError">Of either component.</param>
/// <param name="Skew">Third moment; NaN = not measured.</param>
/// <param name="SkewError">Of either component.</param>
internal readonly record struct PatternStar(Complex Z, double LogSize2, double LogSize2Error, Complex Shape, double ShapeError, Complex Skew, double SkewError);

/// <summary>Weighs every set of causes against the stars.</summary>
/// <remarks>Each set is fitted; its evidence is that of Schwarz's criterion (Annals of Statistics 6, 461, 1978) with every set as likely as any other
/// beforehand. What a cause has in its favor is the share of the evidence of all sets that hold it.</remarks>
internal sealed class CauseFit
{
    private const int Starts = 3;
    private static readonly BlurCauses[] Single = [BlurCauses.Tilt, BlurCauses.Curvature, BlurCauses.Astigmatism, BlurCauses.Coma, BlurCauses.Trailing];

    private readonly PatternStar[] stars;
    private readonly bool skewed;
    private readonly List<(BlurCauses Causes, double[] P, double Cost, int Unknowns)> fits = [];
    private double wide = 1;

    private CauseFit(PatternStar[] stars)
    {
        this.stars = stars;
        skewed = stars.Any(s => double.IsFinite(s.Skew.Real));
    }

    /// <summary>Sum of squares of the richest set over its degrees of freedom: 1 when the pattern describes the stars.</summary>
    public double Misfit { get; private set; }

    private int Observations => (3 * stars.Length) + (skewed ? 2 * stars.Count(s => double.IsFinite(s.Skew.Real)) : 0);

    /// <summary>Fits every set of causes.</summary>
    public static CauseFit Of(PatternStar[] stars, ParallelOptions parallel)
    {
        var fit = new CauseFit(stars);
        BlurCauses[] sets = [.. Enumerable.Range(0, 64).Select(k => (BlurCauses)k).Where(c => !c.HasFlag(BlurCauses.Decentered)
            || (c & (BlurCauses.Astigmatism | BlurCauses.Coma)) != 0)];
        var found = new (BlurCauses, double[], double, int)[sets.Length];
        Parallel.For(0, sets.Length, parallel, k => found[k] = fit.Best(sets[k], parallel.CancellationToken));
        fit.fits.AddRange(found);
        double least = fit.fits.Min(f => f.Cost);
        int unknowns = fit.fits.MinBy(f => f.Cost).Unknowns;
        fit.Misfit = 2 * least / Math.Max(1, fit.Observations - unknowns);
        fit.wide = Math.Max(1, fit.Misfit);
        return fit;
    }

    /// <summary>Share of the evidence that holds a cause, the unknowns of the likeliest set that holds it, and their standard uncertainties.</summary>
    public (double Probability, double[] With, double[] Sigma) Of(BlurCauses cause)
    {
        double top = fits.Min(Criterion), with = 0, all = 0;
        foreach (var f in fits)
        {
            double weight = Math.Exp(-0.5 * (Criterion(f) - top));
            all += weight;
            with += f.Causes.HasFlag(cause) ? weight : 0;
        }

        (BlurCauses causes, double[] p, _, _) = fits.Where(f => f.Causes.HasFlag(cause)).MinBy(Criterion);
        int[] free = BlurPattern.Free(causes, skewed);
        double[] sigma = new double[p.Length];
        Matrix<double> normal = Equations(p, free).Normal;
        Matrix<double>? inverse = PositiveDefinite.Inverse(normal) ?? PositiveDefinite.Inverse(normal, 1e-9);
        for (int k = 0; k < free.Length; k++)
        {
            sigma[free[k]] = inverse is null ? double.PositiveInfinity : Math.Sqrt(wide * inverse[k, k]);
        }

        return (with / all, p, sigma);
    }

    /// <summary>Every cause by itself.</summary>
    public static IReadOnlyList<BlurCauses> Causes => Single;

    private double Criterion((BlurCauses Causes, double[] P, double Cost, int Unknowns) f) =>
        (2 * f.Cost / wide) + (f.Unknowns * Math.Log(Observations));

    private (BlurCauses, double[], double, int) Best(BlurCauses causes, CancellationToken cancel)
    {
        int[] free = BlurPattern.Free(causes, skewed);
        double[][] starts = [.. Beginnings(causes).Select(p => (P: p, At: Cost(p))).OrderBy(s => s.At).Take(Starts).Select(s => s.P)];
        (double[] best, double least) = (starts[0], double.PositiveInfinity);
        foreach (double[] start in starts)
        {
            double[] p = start;
            double cost = DampedDescent.Run(ref p, free, Cost, q => Equations(q, free), 1e-7, cancel);
            if (cost < least)
            {
                (best, least) = (p, cost);
            }
        }

        // Unknowns that are known beforehand to a quarter cost no evidence.
        return (causes, best, least, free.Count(k => k < BlurPattern.SkewFactor));
    }

    private IEnumerable<double[]> Beginnings(BlurCauses causes)
    {
        double s2 = Math.Exp(Low()), s = Math.Sqrt(s2);
        (Complex slope, Complex bend) = Gradient();
        bool tilt = causes.HasFlag(BlurCauses.Tilt), bowl = causes.HasFlag(BlurCauses.Curvature), split = causes.HasFlag(BlurCauses.Astigmatism);
        bool coma = causes.HasFlag(BlurCauses.Coma);
        bool focused = tilt || bowl || split;
        foreach (double d in focused ? new[] { 0.6, -0.6, 0.15 } : [0.0])
        {
            Complex along = Complex.FromPolarCoordinates(1, bend.Phase / 2);
            foreach (Complex t in tilt ? new[] { slope / (2 * d * s), s * along, s * along * Complex.ImaginaryOne } : [Complex.Zero])
            {
                foreach (double a in split ? new[] { 0.5, -0.5 } : [0.0])
                {
                    foreach (double c in coma ? new[] { 0.5, -0.5 } : [0.0])
                    {
                        double[] p = new double[BlurPattern.Count];
                        for (int k = BlurPattern.SkewFactor; k < BlurPattern.Count; k++)
                        {
                            p[k] = BlurPattern.Known(k).Expected;
                        }

                        p[BlurPattern.Common] = Math.Log(s2);
                        p[BlurPattern.Focus] = d * s;
                        (p[BlurPattern.TiltX], p[BlurPattern.TiltY]) = (t.Real, t.Imaginary);
                        p[BlurPattern.Bowl] = bowl ? 0.7 * s : 0;
                        p[BlurPattern.Astigmatic] = a * s;
                        p[BlurPattern.Comatic] = c * s;
                        yield return p;
                    }
                }
            }
        }
    }

    private double Low()
    {
        double[] sorted = [.. stars.Select(s => s.LogSize2).Order()];
        return sorted[sorted.Length / 8];
    }

    /// <summary>Slope of the squared size over the field, and the direction in which it bends most.</summary>
    private (Complex Slope, Complex Bend) Gradient()
    {
        var a = Matrix<double>.Build.Dense(stars.Length, 6, (i, j) => j switch
        {
            0 => 1,
            1 => stars[i].Z.Real,
            2 => stars[i].Z.Imaginary,
            3 => stars[i].Z.Real * stars[i].Z.Real,
            4 => stars[i].Z.Real * stars[i].Z.Imaginary,
            _ => stars[i].Z.Imaginary * stars[i].Z.Imaginary,
        });
        Vector<double> c = a.QR().Solve(Vector<double>.Build.Dense(stars.Length, i => Math.Exp(stars[i].LogSize2)));
        return (new Complex(c[1], c[2]), new Complex(c[3] - c[5], c[4]));
    }

    private double Cost(double[] p)
    {
        double sum = 0;
        Span<double> r = stackalloc double[5];
        foreach (PatternStar star in stars)
        {
            Residuals(p, star, r);
            sum += (r[0] * r[0]) + (r[1] * r[1]) + (r[2] * r[2]) + (r[3] * r[3]) + (r[4] * r[4]);
        }

        for (int k = 0; k < p.Length; k++)
        {
            (double expected, double scatter) = BlurPattern.Known(k);
            sum += double.IsFinite(scatter) ? Math.Pow((p[k] - expected) / scatter, 2) : 0;
        }

        return double.IsFinite(sum) ? 0.5 * sum : double.PositiveInfinity;
    }

    private static void Residuals(ReadOnlySpan<double> p, in PatternStar star, Span<double> r)
    {
        (double size2, Complex drawn, Complex skew) = BlurPattern.At(p, star.Z);
        r[0] = (star.LogSize2 - Math.Log(size2)) / star.LogSize2Error;
        Complex e = (star.Shape - (drawn / size2)) / star.ShapeError;
        (r[1], r[2]) = (e.Real, e.Imaginary);
        (r[3], r[4]) = (0, 0);
        if (double.IsFinite(star.Skew.Real))
        {
            Complex third = (star.Skew - (skew / (size2 * Math.Sqrt(size2)))) / star.SkewError;
            (r[3], r[4]) = (third.Real, third.Imaginary);
        }
    }

    private (Matrix<double> Normal, Vector<double> Gradient) Equations(double[] from, int[] free)
    {
        int n = free.Length;
        var normal = Matrix<double>.Build.Dense(n, n);
        var gradient = Vector<double>.Build.Dense(n);
        double[] p = [.. from], h = [.. free.Select(k => 1e-4 * (1 + Math.Abs(from[k])))];
        double[,] rows = new double[n, 5];
        Span<double> r = stackalloc double[5], up = stackalloc double[5], down = stackalloc double[5];
        foreach (PatternStar star in stars)
        {
            Residuals(p, star, r);
            for (int j = 0; j < n; j++)
            {
                double old = p[free[j]];
                p[free[j]] = old + h[j];
                Residuals(p, star, up);
                p[free[j]] = old - h[j];
                Residuals(p, star, down);
                p[free[j]] = old;
                for (int m = 0; m < 5; m++)
                {
                    rows[j, m] = (up[m] - down[m]) / (2 * h[j]);
                }
            }

            for (int j = 0; j < n; j++)
            {
                for (int m = 0; m < 5; m++)
                {
                    gradient[j] += rows[j, m] * r[m];
                }

                for (int k = 0; k <= j; k++)
                {
                    double sum = 0;
                    for (int m = 0; m < 5; m++)
                    {
                        sum += rows[j, m] * rows[k, m];
                    }

                    normal[j, k] += sum;
                }
            }
        }

        for (int j = 0; j < n; j++)
        {
            (double expected, double scatter) = BlurPattern.Known(free[j]);
            if (double.IsFinite(scatter))
            {
                normal[j, j] += 1 / (scatter * scatter);
                gradient[j] += (p[free[j]] - expected) / (scatter * scatter);
            }

            for (int k = 0; k < j; k++)
            {
                normal[k, j] = normal[j, k];
            }
        }

        return (normal, gradient);
    }
}
