using MathNet.Numerics.LinearAlgebra;
using Complex = System.Numerics.Complex;

namespace StarAssay.Engine.Measurements.FocusSurface;

/// <summary>Surfaces by which places where stars are smallest may lie beside the wavefront's best focus, by the stars' shapes.</summary>
/// <remarks>
/// What does not vanish by symmetry is Re(C^2 A*) of coma C and astigmatism A, and with spherical aberration S, which the same run hardly
/// tells, S |C|^2. Of both only what varies over the field tilts and bends the surface: each is brought to a tilted bowl as the focus is.
/// </remarks>
internal sealed class SurfaceShift
{
    // By how much they move the place where stars are smallest: shares of the depth of focus over the traces in the stars' shapes (drawn runs
    // with strong aberrations; the second holds what spherical aberration such telescopes have, 20 nm RMS).
    private const double WithAstigmatism = 0.50, WithSpherical = 0.22;

    private readonly double[][] bowls;

    private SurfaceShift(double[][] bowls) => this.bowls = bowls;

    /// <summary>None.</summary>
    public static SurfaceShift None { get; } = new([]);

    /// <summary>By the stars' shapes.</summary>
    /// <param name="shapes">Coma's trace in what stays through focus, um^2, astigmatism in what turns, um.</param>
    /// <param name="points">Stars by frame.</param>
    /// <param name="depthUm">Depth of focus to either side.</param>
    public static SurfaceShift Of(ShapeFit shapes, RunPoint[] points, double depthUm)
    {
        RunPoint[] stars = [.. points.GroupBy(p => p.Star).Select(g => g.First())];
        Complex[] coma = [.. stars.Select(s => ShapeFit.At(shapes.Even, s.U, s.V) / (depthUm * depthUm))];
        Complex[] split = [.. stars.Select(s => ShapeFit.At(shapes.Odd, s.U, s.V) / depthUm)];

        // Strong astigmatism leaves of itself in what should be coma alone (drawn runs).
        double strong = 1 + split.Average(o => o.Magnitude * o.Magnitude);
        return Bowl(stars, [.. coma.Select((e, i) => depthUm * WithAstigmatism * (e * Complex.Conjugate(split[i])).Real / strong)]) is { } first
            && Bowl(stars, [.. coma.Select(e => depthUm * WithSpherical * e.Magnitude)]) is { } second
            ? new SurfaceShift([first, second])
            : None;
    }

    /// <summary>Standard uncertainty that they bring into what is made of a surface.</summary>
    /// <param name="value">Of the unknowns of the surface.</param>
    /// <param name="surface">Where the fit stands.</param>
    public double In(Func<double[], double> value, double[] surface)
    {
        double at = value(surface), sum = 0;
        foreach (double[] bowl in bowls)
        {
            double Change(int sign) => Math.Abs(value([.. surface.Select((p, k) => k < bowl.Length ? p + (sign * bowl[k]) : p)]) - at);

            // Either sign, whichever counts more: lengths and spreads do not follow both alike.
            sum += Math.Pow(Math.Max(Change(1), Change(-1)), 2);
        }

        return Math.Sqrt(sum);
    }

    /// <summary>The tilted bowl of least squares through values at the stars; null where they do not determine one.</summary>
    private static double[]? Bowl(RunPoint[] stars, double[] values)
    {
        var rows = Matrix<double>.Build.Dense(stars.Length, SurfaceFit.Surface, (i, k) => k switch
        {
            0 => 1,
            1 => stars[i].U,
            2 => stars[i].V,
            _ => (stars[i].U * stars[i].U) + (stars[i].V * stars[i].V),
        });
        double[] bowl = rows.TransposeThisAndMultiply(rows).Solve(rows.TransposeThisAndMultiply(Vector<double>.Build.Dense(values))).ToArray();
        return bowl.All(double.IsFinite) ? bowl : null;
    }
}
