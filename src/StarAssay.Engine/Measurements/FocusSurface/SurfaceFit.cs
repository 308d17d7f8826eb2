using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Measurements.FocusSurface;

/// <summary>
/// The squared half-flux radius of every star in every frame: blur that is there in focus, and what defocus adds to it.
/// </summary>
/// <remarks>
/// size^2 = s^2 exp(a_f) (1 + b.B) + g(d) (1 + c.B), d = position + backlash - z(u, v), with z = z0 + z1 u + z2 v + z3 (u^2 + v^2),
/// B = (u, v, u^2, u v, v^2), a_f a frame's own blur (the seeing changes), b what aberrations add over the field, c what they
/// and the outer radius take from the growth. Far from focus aberrations and defocus add up (their cross terms vanish by symmetry);
/// near focus they do not quite, so what is close to the least size counts less. Weights are those of Cauchy's kin
/// (1 / sqrt(1 + r^2 / 4)), so that a galaxy or a trail does not rule.
/// </remarks>
internal sealed class SurfaceFit
{
    /// <summary>Unknowns of the surface.</summary>
    public const int Surface = 4;

    private const int Bends = 5;

    // Relative uncertainty of a size that the model cannot be better than, and of the blur in focus (drawn runs).
    private const double Floor = 0.004, NearFocus = 0.1;

    // What is known beforehand of a frame's blur (seeing within minutes) and of its change over the field.
    private const double BlurScatter = 0.2, BendScatter = 0.3;

    private readonly RunPoint[] points;
    private readonly double[] position, sigma, scatterOfGrowth;
    private readonly bool[] inward;
    private readonly bool backlash;
    private readonly BlurGrowth growth;
    private readonly int frames;
    private Matrix<double>? covariance;

    private SurfaceFit(RunPoint[] points, double[] position, bool[] inward, BlurGrowth growth, double[] scatterOfGrowth)
    {
        (this.points, this.position, this.inward, this.growth, this.scatterOfGrowth) = (points, position, inward, growth, scatterOfGrowth);
        frames = position.Length;

        // Both directions must have frames enough to place a curve each.
        int back = points.Select(p => p.Frame).Distinct().Count(f => inward[f]);
        backlash = back >= 3 && points.Select(p => p.Frame).Distinct().Count() - back >= 3;
        double[] sorted = [.. points.Select(p => p.Size2).Order()];
        Least = sorted[sorted.Length / 50];
        sigma = [.. points.Select(p => Math.Sqrt((p.Relative * p.Relative) + (Floor * Floor) + Math.Pow(NearFocus * Least / p.Size2, 2)))];
        P = new double[Count];
    }

    /// <summary>The unknowns: surface, backlash, growth, logarithm of s^2, frames' blur, bends of growth, bends of blur.</summary>
    public double[] P { get; private set; }

    /// <summary>Small squared size of the run, um^2.</summary>
    public double Least { get; }

    /// <summary>Whether the run went both ways, so that backlash is one of the unknowns.</summary>
    public bool HasBacklash => backlash;

    /// <summary>Backlash, um.</summary>
    public double Backlash => P[Surface];

    /// <summary>Factor of the growth far from focus over what focal ratio and positions say.</summary>
    public double Far => Math.Exp(P[Growth + 1] - BlurGrowth.Expected[1]);

    /// <summary>Unknowns that one point depends on.</summary>
    internal static int Filled => Blur + 2 + (2 * Bends);

    private static int Growth => Surface + 1;

    private static int Blur => Growth + BlurGrowth.Unknowns;

    private int Count => Blur + 1 + frames + (2 * Bends);

    /// <summary>Standard uncertainty of what is made of the surface, by how far stars depart from it and by what is known of blur and its growth.</summary>
    /// <param name="value">Of the unknowns; the first four and the backlash are changed.</param>
    public double Noise(Func<double[], double> value)
    {
        if (covariance is null)
        {
            return double.NaN;
        }

        const double Step = 0.01; // um, far below what changes the slope of a tilt or a spread
        var slope = Vector<double>.Build.Dense(Surface + 1, k =>
        {
            double[] up = [.. P], down = [.. P];
            (up[k], down[k]) = (up[k] + Step, down[k] - Step);
            return (value(up) - value(down)) / (2 * Step);
        });
        return Math.Sqrt(Math.Max(0, slope * (covariance * slope)));
    }

    /// <summary>A frame's own blur, logarithm of its square over the usual one.</summary>
    public double FrameBlur(int frame) => P[Blur + 1 + frame];

    /// <summary>Fits a run.</summary>
    /// <param name="points">Stars by frame.</param>
    /// <param name="position">Of each frame, um.</param>
    /// <param name="inward">Whether the focuser came to it from farther outside.</param>
    /// <param name="growth">How blur grows.</param>
    /// <param name="start">Unknowns to start from; null = from each star's parabola.</param>
    /// <param name="growthScatter">What is known of the growth far from focus (standard deviation of its logarithm).</param>
    /// <param name="cancel">To stop.</param>
    public static SurfaceFit Of(RunPoint[] points, double[] position, bool[] inward, BlurGrowth growth, double[]? start = null,
        double growthScatter = double.NaN, CancellationToken cancel = default)
    {
        double[] scatter = [.. BlurGrowth.Scatter];
        scatter[1] = double.IsNaN(growthScatter) ? scatter[1] : growthScatter;
        var fit = new SurfaceFit(points, position, inward, growth, scatter);
        if (start is null)
        {
            fit.Begin();
        }
        else
        {
            fit.P = [.. start];
        }

        fit.Descend(cancel);
        fit.TakeCovariance();
        return fit;
    }

    /// <summary>Best focus at a place, um.</summary>
    public static double At(ReadOnlySpan<double> p, double u, double v) => p[0] + (p[1] * u) + (p[2] * v) + (p[3] * ((u * u) + (v * v)));

    /// <summary>Distance of a point's sensor from its best focus, um, by unknowns of this fit or of another.</summary>
    public double Defocus(ReadOnlySpan<double> p, in RunPoint point) => Defocus(p, point, At(p, point.U, point.V));

    /// <summary>Squared size that a star would have in focus, um^2, by unknowns of this fit or of another.</summary>
    public double InFocus(ReadOnlySpan<double> p, in RunPoint point)
    {
        Span<double> basis = stackalloc double[Bends];
        Basis(point, basis);
        double blurring = 1;
        for (int k = 0; k < Bends; k++)
        {
            blurring += p[Blur + 1 + frames + Bends + k] * basis[k];
        }

        return Math.Exp(p[Blur] + p[Blur + 1 + point.Frame]) * blurring;
    }

    /// <summary>Squared size of a point as the fit has it, um^2.</summary>
    public double Model(in RunPoint point) => Model(P, point, At(P, point.U, point.V));

    /// <summary>Best focus of one star by itself, the rest being that of all.</summary>
    public (double Focus, double Uncertainty) Own(ReadOnlySpan<int> of)
    {
        double surface = At(P, points[of[0]].U, points[of[0]].V), shift = 0, extra = 0;
        double nn = 0, ne = 0, ee = 0;
        for (int round = 0; round < 8; round++)
        {
            (nn, ne, ee) = (0, 0, 0);
            double bn = 0, be = 0;
            foreach (int i in of)
            {
                RunPoint point = points[i];
                double z = At(P, point.U, point.V) + shift, model = Model(P, point, z) + extra;
                double slope = -(Model(P, point, z + 1) - Model(P, point, z - 1)) / 2, weight = 1 / Math.Pow(2 * point.Size2 * sigma[i], 2);
                double rest = point.Size2 - model;
                weight /= Math.Sqrt(1 + (rest * rest * weight / 4));
                nn += weight * slope * slope;
                ne += weight * -slope;
                ee += weight;
                bn += weight * -slope * rest;
                be += weight * rest;
            }

            double det = (nn * ee) - (ne * ne);
            if (!(det > 1e-12 * nn * ee))
            {
                return (double.NaN, double.NaN);
            }

            shift += ((ee * bn) - (ne * be)) / det;
            extra += ((nn * be) - (ne * bn)) / det;
        }

        return (surface + shift, Math.Sqrt(ee / ((nn * ee) - (ne * ne))));
    }

    private double Defocus(ReadOnlySpan<double> p, in RunPoint point, double focus) =>
        position[point.Frame] + (inward[point.Frame] ? p[Surface] : 0) - focus;

    private double Model(ReadOnlySpan<double> p, in RunPoint point, double focus)
    {
        ReadOnlySpan<double> bends = p[(Blur + 1 + frames)..];
        double growing = 1;
        Span<double> basis = stackalloc double[Bends];
        Basis(point, basis);
        for (int k = 0; k < Bends; k++)
        {
            growing += bends[k] * basis[k];
        }

        return InFocus(p, point) + (growth.At(Defocus(p, point, focus), p[Growth..]) * growing);
    }

    private static void Basis(in RunPoint point, Span<double> basis) =>
        (basis[0], basis[1], basis[2], basis[3], basis[4]) = (point.U, point.V, point.U * point.U, point.U * point.V, point.V * point.V);

    /// <summary>Residual of a point in its standard uncertainties; a model that falls below a share of the size is held there.</summary>
    private double Residual(ReadOnlySpan<double> p, int i)
    {
        RunPoint point = points[i];
        double model = Math.Max(Model(p, point, At(p, point.U, point.V)), 0.05 * point.Size2);
        return ((point.Size2 / model) - 1) / (2 * sigma[i]);
    }

    /// <summary>Surface by the vertices of the stars' own parabolas, the rest as it is expected.</summary>
    private void Begin()
    {
        var vertices = new List<(double U, double V, double Z, double S)>();
        foreach (IGrouping<int, RunPoint> star in points.GroupBy(p => p.Star))
        {
            double scale = star.Max(p => Math.Abs(position[p.Frame])) + 1e-9;
            var a = Matrix<double>.Build.Dense(3, 3);
            var b = Vector<double>.Build.Dense(3);
            foreach (RunPoint p in star)
            {
                double t = position[p.Frame] / scale, w = 1 / (p.Size2 * p.Size2);
                double[] row = [1, t, t * t];
                for (int j = 0; j < 3; j++)
                {
                    b[j] += w * row[j] * p.Size2;
                    for (int k = 0; k < 3; k++)
                    {
                        a[j, k] += w * row[j] * row[k];
                    }
                }
            }

            Vector<double> c = a.Solve(b);
            if (c[2] > 0 && c.All(double.IsFinite))
            {
                RunPoint at = star.First();
                vertices.Add((at.U, at.V, -c[1] / (2 * c[2]) * scale, c[0] - (c[1] * c[1] / (4 * c[2]))));
            }
        }

        double middle = vertices.Count > 0 ? Robust.Median(vertices.Select(v => v.Z)) : position.Average();
        double[] weight = [.. vertices.Select(_ => 1.0)];
        double[] z = [middle, 0, 0, 0];
        for (int round = 0; round < 12 && vertices.Count >= 2 * Surface; round++)
        {
            var a = Matrix<double>.Build.Dense(Surface, Surface);
            var b = Vector<double>.Build.Dense(Surface);
            for (int i = 0; i < vertices.Count; i++)
            {
                (double u, double v, double f, _) = vertices[i];
                double[] row = [1, u, v, (u * u) + (v * v)];
                for (int j = 0; j < Surface; j++)
                {
                    b[j] += weight[i] * row[j] * f;
                    for (int k = 0; k < Surface; k++)
                    {
                        a[j, k] += weight[i] * row[j] * row[k];
                    }
                }
            }

            Vector<double> solved = a.Solve(b);
            if (!solved.All(double.IsFinite))
            {
                break;
            }

            z = solved.ToArray();
            double[] off = [.. vertices.Select(v => v.Z - At(z, v.U, v.V))];
            double usual = Math.Max(1e-6, Robust.Median(off.Select(Math.Abs)));
            weight = [.. off.Select(o => 1 / Math.Sqrt(1 + Math.Pow(o / usual, 2)))];
        }

        z.CopyTo(P, 0);
        BlurGrowth.Expected.CopyTo(P, Growth);
        P[Blur] = Math.Log(Least);
    }

    private void Descend(CancellationToken cancel)
    {
        double[] p = P;
        DampedDescent.Run(ref p, null, q => Cost(q), Equations, 1e-9, cancel);
        P = p;
    }

    /// <summary>
    /// The inverse of the normal matrix, times the mean square of the residuals (Birge 1932, from memory): sizes close to focus count for less
    /// than their scatter, so that a fit is better than its weights say.
    /// </summary>
    private void TakeCovariance()
    {
        double sum = Enumerable.Range(0, points.Length).Sum(i => Math.Pow(Residual(P, i), 2));
        double free = Math.Max(1, points.Length - Surface - 1 - frames);
        covariance = PositiveDefinite.Inverse(Equations(P).Normal)?.SubMatrix(0, Surface + 1, 0, Surface + 1) * (sum / free);
    }

    private double Cost(ReadOnlySpan<double> p)
    {
        double sum = 0;
        for (int i = 0; i < points.Length; i++)
        {
            double r = Residual(p, i);
            sum += 4 * (Math.Sqrt(1 + (r * r / 4)) - 1);
        }

        for (int k = Surface; k < Count; k++)
        {
            (double expected, double scatter) = Known(k);
            double r = (p[k] - expected) / scatter;
            sum += r * r / 2;
        }

        return sum;
    }

    private (double Expected, double Scatter) Known(int k)
    {
        if (k == Surface)
        {
            return (0, backlash ? 1e9 : 1e-9);
        }

        if (k < Blur)
        {
            return (BlurGrowth.Expected[k - Growth], scatterOfGrowth[k - Growth]);
        }

        return k == Blur ? (P[Blur], 1e9) : k <= Blur + frames ? (0, BlurScatter) : (0, BendScatter);
    }

    /// <summary>How a point's residual changes with the unknowns that it depends on, in the order of <paramref name="filled"/>.</summary>
    internal void Slopes(double[] p, int i, Span<int> filled, Span<double> row)
    {
        RunPoint point = points[i];
        Span<double> basis = stackalloc double[Bends], growths = stackalloc double[BlurGrowth.Unknowns];
        Basis(point, basis);
        (double g, double slope) = growth.At(Defocus(p, point, At(p, point.U, point.V)), p.AsSpan(Growth), growths);
        double growing = 1, blurring = 1, blur = Math.Exp(p[Blur] + p[Blur + 1 + point.Frame]);
        for (int k = 0; k < Bends; k++)
        {
            growing += p[Blur + 1 + frames + k] * basis[k];
            blurring += p[Blur + 1 + frames + Bends + k] * basis[k];
        }

        // A model that is held at its least does not change.
        double model = (blur * blurring) + (g * growing), least = 0.05 * point.Size2;
        double by = model > least ? -point.Size2 / (model * model * 2 * sigma[i]) : 0, bySurface = -by * slope * growing;
        int n = 0;
        void Add(Span<int> filled, Span<double> row, int unknown, double value) => (filled[n], row[n++]) = (unknown, value);
        Add(filled, row, 0, bySurface);
        Add(filled, row, 1, bySurface * point.U);
        Add(filled, row, 2, bySurface * point.V);
        Add(filled, row, 3, bySurface * ((point.U * point.U) + (point.V * point.V)));
        Add(filled, row, Surface, inward[point.Frame] ? -bySurface : 0);
        for (int k = 0; k < BlurGrowth.Unknowns; k++)
        {
            Add(filled, row, Growth + k, by * growths[k] * growing);
        }

        Add(filled, row, Blur, by * blur * blurring);
        Add(filled, row, Blur + 1 + point.Frame, by * blur * blurring);
        for (int k = 0; k < Bends; k++)
        {
            Add(filled, row, Blur + 1 + frames + k, by * g * basis[k]);
        }

        for (int k = 0; k < Bends; k++)
        {
            Add(filled, row, Blur + 1 + frames + Bends + k, by * blur * basis[k]);
        }
    }

    private (Matrix<double> Normal, Vector<double> Gradient) Equations(double[] from)
    {
        int n = Count;
        double[] normal = new double[n * n], gradient = new double[n];
        Span<int> filled = stackalloc int[Filled];
        Span<double> row = stackalloc double[Filled];
        for (int i = 0; i < points.Length; i++)
        {
            double r = Residual(from, i), weight = 1 / Math.Sqrt(1 + (r * r / 4));
            Slopes(from, i, filled, row);
            for (int a = 0; a < Filled; a++)
            {
                double left = weight * row[a];
                gradient[filled[a]] += left * r;
                for (int b = a; b < Filled; b++)
                {
                    normal[(filled[a] * n) + filled[b]] += left * row[b];
                }
            }
        }

        for (int k = Surface; k < n; k++)
        {
            (double expected, double scatter) = Known(k);
            normal[(k * n) + k] += 1 / (scatter * scatter);
            gradient[k] += (from[k] - expected) / (scatter * scatter);
        }

        return (Matrix<double>.Build.Dense(n, n, (j, k) => normal[(Math.Min(j, k) * n) + Math.Max(j, k)]), Vector<double>.Build.Dense(gradient));
    }

    /// <summary>The slope of a point's residual by differences: what <see cref="Slopes"/> is held against.</summary>
    internal double SlopeByDifference(double[] p, int i, int unknown)
    {
        double h = unknown <= Surface ? 0.05 : 1e-4;
        double[] q = [.. p];
        q[unknown] = p[unknown] + h;
        double up = Residual(q, i);
        q[unknown] = p[unknown] - h;
        return (up - Residual(q, i)) / (2 * h);
    }
}
