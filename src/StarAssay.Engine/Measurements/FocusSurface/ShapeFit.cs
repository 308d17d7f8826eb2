using MathNet.Numerics.LinearAlgebra;
using Complex = System.Numerics.Complex;

namespace StarAssay.Engine.Measurements.FocusSurface;

/// <summary>How the stars' length and direction change through focus: the astigmatism over the field.</summary>
/// <remarks>
/// A cone with two foci, tangential and sagittal, s apart, makes of a star at the distance d from their mean an ellipse with half axes
/// growing as d - s / 2 and d + s / 2. Its squared size times its ellipticity, as a complex number of twice the direction, grows by s d: what
/// turns by a quarter turn through focus is astigmatism, what stays is coma, tracking or a squeezed stop. Both are told as
/// c0 + c1 h + c2 h^2, h = u + i v (nodal aberration theory, Thompson 2005, J. Opt. Soc. Am. A 22, 1389, from memory); what stays has c3 h* besides,
/// which is what trefoil T makes of coma C that grows over the field: C^2 and C* T are what has twice a direction. Coma shows in stars near focus only:
/// where defocus makes larger discs of them than all that blurs them, its trace vanishes and then turns, and grows to nine times of it.
/// </remarks>
internal sealed class ShapeFit
{
    /// <summary>What the moments of drawn stars show of the ellipse of the cone, and how well that and the focuser's scale are known.</summary>
    public const double Response = 1.02, ResponseScatter = 0.03;

    private const int Staying = 4, Turning = 3, LeastPoints = 40, Rounds = 4;

    // Ellipticity that no shape is known better than.
    private const double Floor = 0.02;

    // By what share coma's trace over the blur takes of what astigmatism turns stars by (drawn stars, 1.5 to 4.5 wavelengths times N of seeing).
    private const double ComaOnTurning = 0.5;

    private readonly Complex[][] pulls;

    private ShapeFit(Complex[] even, Complex[] odd, Complex[][] pulls) => (Even, Odd, this.pulls) = (even, odd, pulls);

    /// <summary>What stays through focus, um^2.</summary>
    public Complex[] Even { get; }

    /// <summary>What turns: sagittal less tangential focus, in twice the direction along the tangential plane, um; the response still in it.</summary>
    public Complex[] Odd { get; }

    /// <summary>Standard uncertainty of a term of <see cref="Odd"/> along a direction, by what each star departs from the fit, um.</summary>
    /// <remarks>Each star's residual times its weight in the term, squared and summed (White 1980, Econometrica 48, 817, from memory).</remarks>
    /// <param name="term">Which.</param>
    /// <param name="along">Of length one.</param>
    public double Noise(int term, Complex along) =>
        Math.Sqrt(pulls[term].Sum(p => Math.Pow((p * Complex.Conjugate(along)).Real, 2)));

    /// <summary>Terms up to the squared height at a place.</summary>
    public static Complex At(Complex[] c, double u, double v)
    {
        var h = new Complex(u, v);
        return c[0] + (h * (c[1] + (h * c[2])));
    }

    /// <summary>Fits the shapes of a run; null where too few stars have one.</summary>
    /// <param name="points">Stars by frame.</param>
    /// <param name="defocus">Distance of each point from best focus, um.</param>
    /// <param name="blur">Its squared size in focus, um^2.</param>
    /// <param name="growth">Squared size over squared defocus far from focus.</param>
    /// <param name="depthUm">Depth of focus to either side.</param>
    public static ShapeFit? Of(RunPoint[] points, Func<RunPoint, double> defocus, Func<RunPoint, double> blur, double growth, double depthUm)
    {
        RunPoint[] shaped = [.. points.Where(p => double.IsFinite(p.Shape.Real + p.Shape.Imaginary + p.ShapeUncertainty))];
        if (shaped.Length < LeastPoints)
        {
            return null;
        }

        var rows = new Complex[shaped.Length][];
        var seen = new Complex[shaped.Length];
        double[] near = new double[shaped.Length], far = new double[shaped.Length], blur2 = new double[shaped.Length];
        for (int i = 0; i < shaped.Length; i++)
        {
            RunPoint p = shaped[i];
            blur2[i] = Math.Max(0, blur(p)) / growth;
            double d = defocus(p), size = (d * d) + blur2[i], out2 = Math.Pow(d / (2 * depthUm), 2);
            var h = new Complex(p.U, p.V);
            rows[i] = [1, h, h * h, Complex.Conjugate(h), d, d * h, d * h * h];
            seen[i] = size * p.Shape;
            double known = 1 / (size * Math.Sqrt((p.ShapeUncertainty * p.ShapeUncertainty) + (Floor * Floor)));
            far[i] = known * out2 / (1 + out2);
            near[i] = known * Math.Pow(blur2[i] / size, 2);
        }

        // Near focus diffraction shapes a star otherwise than the cone does, and coma shows; far from it the cone alone is left.
        if (Solve(rows, seen, near) is not (Complex[] staying, _))
        {
            return null;
        }

        for (int i = 0; i < rows.Length; i++)
        {
            double coma = Coma(staying, shaped[i].U, shaped[i].V).Magnitude / depthUm / Math.Sqrt(Math.Max(blur2[i], double.Epsilon));
            for (int k = Staying; k < rows[i].Length; k++)
            {
                rows[i][k] /= 1 + (ComaOnTurning * coma);
            }
        }

        return Solve(rows, seen, far) is (Complex[] turning, Complex[][] pulls) ? new ShapeFit(staying[..Staying], turning[Staying..], pulls) : null;
    }

    /// <summary>Trace of coma alone at a place, without that of trefoil with it, um^2.</summary>
    public static Complex Coma(Complex[] even, double u, double v) => At(even[..Turning], u, v);

    /// <summary>Trace of trefoil with coma at a place, um^2.</summary>
    public static Complex Trefoil(Complex[] even, double u, double v) => even[Turning] * new Complex(u, -v);

    /// <summary>The terms, and by how much each point's residual pulls those that turn.</summary>
    private static (Complex[] Found, Complex[][] Pulls)? Solve(Complex[][] rows, Complex[] seen, double[] weight)
    {
        const int n = Staying + Turning;
        Complex[] found = new Complex[n];
        Complex[][] pulls = [];
        double[] robust = [.. seen.Select(_ => 1.0)];
        for (int round = 0; round < Rounds; round++)
        {
            var a = Matrix<Complex>.Build.Dense(n, n);
            var b = Vector<Complex>.Build.Dense(n);
            for (int i = 0; i < rows.Length; i++)
            {
                double w = weight[i] * weight[i] * robust[i];
                for (int j = 0; j < n; j++)
                {
                    Complex left = w * Complex.Conjugate(rows[i][j]);
                    b[j] += left * seen[i];
                    for (int k = 0; k < n; k++)
                    {
                        a[j, k] += left * rows[i][k];
                    }
                }
            }

            found = a.Solve(b).ToArray();
            if (!found.All(c => double.IsFinite(c.Real + c.Imaginary)))
            {
                return null;
            }

            Complex[] rest = [.. rows.Select((row, i) => seen[i] - Sum(row, found))];
            if (round == Rounds - 1)
            {
                Matrix<Complex> inverse = a.Inverse();
                pulls = new Complex[Turning][];
                for (int t = 0; t < Turning; t++)
                {
                    // The inverse is Hermitian: its row is its column, conjugated.
                    Complex[] column = inverse.Column(Staying + t).ToArray();
                    pulls[t] = [.. rows.Select((row, i) => Complex.Conjugate(Sum(row, column)) * weight[i] * weight[i] * robust[i] * rest[i])];
                }
            }

            double[] off = [.. rest.Select((r, i) => weight[i] * r.Magnitude)];
            double usual = Math.Max(1e-9, Numerics.Robust.Median(off));
            robust = [.. off.Select(o => 1 / Math.Sqrt(1 + Math.Pow(o / (2 * usual), 2)))];
        }

        return (found, pulls);
    }

    private static Complex Sum(Complex[] row, Complex[] c)
    {
        Complex sum = 0;
        for (int k = 0; k < c.Length; k++)
        {
            sum += row[k] * c[k];
        }

        return sum;
    }
}
