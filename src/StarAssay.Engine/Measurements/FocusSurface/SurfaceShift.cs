using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using Complex = System.Numerics.Complex;

namespace StarAssay.Engine.Measurements.FocusSurface;

/// <summary>Surfaces by which places where stars are smallest may lie beside the wavefront's best focus, by the stars' shapes and sizes.</summary>
/// <remarks>
/// Of third order what does not vanish by symmetry is Re(C^2 A*) of coma C and astigmatism A, Re(C T* A) with trefoil T, and S |C|^2 with spherical
/// aberration S, each over the root of the squared size of stars in focus (drawn stars). Shapes tell the first two; S the run hardly tells, |C|^2 is what makes
/// stars in focus larger in one place than in another, astigmatism's part taken off. Of each only what varies over the field tilts and bends the surface:
/// it is brought to a tilted bowl as the focus is.
/// </remarks>
internal sealed class SurfaceShift
{
    // Depths of focus over the traces, with sizes as squared depths of focus (drawn stars of 30 to 80 nm RMS each).
    private const double WithAstigmatism = 0.24, WithTrefoil = 0.07;

    // The same over what coma adds to the squared size, for the spherical aberration that telescopes with such coma have, 20 to 25 nm RMS.
    private const double WithSpherical = 0.24;

    // What of the squared size in focus is astigmatism's, over its squared trace (drawn stars).
    private const double OfAstigmatism = 0.18;

    private readonly double[][] bowls;

    private SurfaceShift(double[][] bowls, double usual) => (this.bowls, UsualUm) = (bowls, usual);

    /// <summary>None.</summary>
    public static SurfaceShift None { get; } = new([], 0);

    /// <summary>By how much what the shapes tell moves the place where stars are smallest, root mean square over the field, um.</summary>
    public double UsualUm { get; }

    /// <summary>By the stars' shapes and sizes.</summary>
    /// <param name="shapes">Coma's trace in what stays through focus, um^2, astigmatism in what turns, um.</param>
    /// <param name="points">Stars by frame.</param>
    /// <param name="blur">Squared size of a star in focus, as the square of the defocus that makes as large a disc, um^2.</param>
    /// <param name="depthUm">Depth of focus to either side.</param>
    public static SurfaceShift Of(ShapeFit shapes, RunPoint[] points, Func<RunPoint, double> blur, double depthUm)
    {
        double depth2 = depthUm * depthUm;
        RunPoint[] stars = [.. points.GroupBy(p => p.Star).Select(g => g.First())];
        double[] size = [.. points.GroupBy(p => p.Star).Select(g => Robust.Median(g.Select(blur)) / depth2)];
        double usual = Math.Sqrt(Robust.Median(size));
        if (!(usual > 0))
        {
            return None;
        }

        Complex[] split = [.. stars.Select(s => ShapeFit.At(shapes.Odd, s.U, s.V) / depthUm)];
        double[] Told(double share, Func<RunPoint, Complex> trace) =>
            [.. stars.Select((s, i) => depthUm * share / usual * (trace(s) * Complex.Conjugate(split[i])).Real / depth2)];
        double[] coma = Told(WithAstigmatism, s => ShapeFit.Coma(shapes.Even, s.U, s.V));
        double[] trefoil = Told(WithTrefoil, s => ShapeFit.Trefoil(shapes.Even, s.U, s.V));
        double[] larger = [.. size.Select((b, i) => b - (OfAstigmatism * split[i].Magnitude * split[i].Magnitude))];
        double[] untold = [.. larger.Select(b => depthUm * WithSpherical / usual * (b - larger.Min()))];

        // Neither of the first two is known so well that where they seem to cancel they do.
        return Bowl(stars, coma) is { } first && Bowl(stars, trefoil) is { } second && Bowl(stars, untold) is { } third
            ? new SurfaceShift([first, second, third], Math.Sqrt(coma.Zip(trefoil, (c, t) => (c + t) * (c + t)).Average()))
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
