using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.PlateScale;

/// <summary>
/// Pixels from gnomonic coordinates v about the middle of the field: c + A w with
/// w = v + (t.v) v + |v|^2 e + (d3 |v|^2 + d5 |v|^4) v. The matrix A holds scale, rotation, mirror and anamorphism; t is a tilt of the
/// sensor (or a tangent point beside the axis), e an axis of the distortion beside the middle, d3 and d5 the distortion.
/// </summary>
internal sealed class PlateModel
{
    /// <summary>Unknowns up to the affine ones, with the third order, and with the fifth.</summary>
    public const int Affine = 6, Third = 11, Fifth = 12;

    // Stars needed: two and a half equations an unknown, so that the scatter is known to about a fifth.
    private const int StarsForFifth = 18, StarsForThird = 12;

    private const int Rounds = 30;
    private readonly double[] x, y, ux, uy, sx, sy;
    private readonly double reach;

    private PlateModel(PlateScaleRequest request)
    {
        (x, y) = (request.X, request.Y);
        (sx, sy) = (Sound(request.XUncertainty, x.Length), Sound(request.YUncertainty, x.Length));

        // Coordinates are scaled to one, else the orders differ by many powers of ten.
        reach = Math.Max(1e-9, Enumerable.Range(0, x.Length).Max(i => Math.Sqrt((request.Xi[i] * request.Xi[i]) + (request.Eta[i] * request.Eta[i]))));
        ux = [.. request.Xi.Select(v => v / reach)];
        uy = [.. request.Eta.Select(v => v / reach)];
        Used = new bool[x.Length];
        P = new double[Fifth];
        Covariance = Matrix<double>.Build.Dense(Fifth, Fifth);
    }

    /// <summary>The unknowns: c, A by rows, t, e, d3, d5; those not fitted are zero. In pixels and scaled coordinates.</summary>
    public double[] P { get; private set; }

    /// <summary>Their covariance.</summary>
    public Matrix<double> Covariance { get; private set; }

    /// <summary>How many of them were fitted.</summary>
    public int Unknowns { get; private set; }

    /// <summary>Which stars are right matches.</summary>
    public bool[] Used { get; }

    /// <summary>Scatter added to the stars' uncertainties, pixels.</summary>
    public double Added { get; private set; }

    /// <summary>Gnomonic coordinate that is one in the model.</summary>
    public double Reach => reach;

    /// <summary>Equations beyond the unknowns.</summary>
    public int Freedom => (2 * Used.Count(u => u)) - Unknowns;

    /// <summary>Fits the stars, wrong matches left out.</summary>
    public static PlateModel Fit(PlateScaleRequest request)
    {
        var model = new PlateModel(request);
        double first = model.Start();
        double half = new SensorArea(request.Width, request.Height).HalfDiagonal;
        if (!(first < 0.03 * half))
        {
            throw model.NoAgreement();
        }

        model.Select(Affine, Math.Max(6 * first, 1));
        int order = model.Used.Count(u => u) >= StarsForFifth ? Fifth : model.Used.Count(u => u) >= StarsForThird ? Third : Affine;
        for (int round = 0; round < Rounds; round++)
        {
            if (!model.Solve(order))
            {
                // Stars on a line or in a heap do not carry the higher orders.
                if (order == Affine)
                {
                    throw model.NoAgreement();
                }

                order = order == Fifth ? Third : Affine;
                continue;
            }

            if (!model.Reject())
            {
                break;
            }

            int left = model.Used.Count(u => u);
            order = Math.Min(order, left >= StarsForFifth ? Fifth : left >= StarsForThird ? Third : Affine);
        }

        int used = model.Used.Count(u => u);
        if (used < PlateScaleMeasurement.LeastStars || 2 * used < model.Used.Length)
        {
            throw model.NoAgreement();
        }

        return model;
    }

    /// <summary>Pixel of a scaled coordinate.</summary>
    public static (double X, double Y) At(double[] p, double u, double v)
    {
        double r2 = (u * u) + (v * v);
        double along = 1 + (p[6] * u) + (p[7] * v) + (p[10] * r2) + (p[11] * r2 * r2);
        double wu = (u * along) + (r2 * p[8]), wv = (v * along) + (r2 * p[9]);
        return (p[0] + (p[2] * wu) + (p[3] * wv), p[1] + (p[4] * wu) + (p[5] * wv));
    }

    /// <summary>Scaled coordinate of a pixel.</summary>
    public static (double U, double V) Back(double[] p, double px, double py)
    {
        double det = (p[2] * p[5]) - (p[3] * p[4]), u = 0, v = 0;
        for (int turn = 0; turn < 60; turn++)
        {
            (double fx, double fy) = At(p, u, v);
            double dx = px - fx, dy = py - fy;
            u += ((p[5] * dx) - (p[3] * dy)) / det;
            v += ((p[2] * dy) - (p[4] * dx)) / det;
            if (Math.Abs(dx) + Math.Abs(dy) < 1e-9)
            {
                break;
            }
        }

        return (u, v);
    }

    /// <summary>Measured less fitted place of a star, pixels.</summary>
    public (double X, double Y) Residual(int i)
    {
        (double fx, double fy) = At(P, ux[i], uy[i]);
        return (x[i] - fx, y[i] - fy);
    }

    /// <summary>Standard uncertainty of a function of the unknowns, by its slopes.</summary>
    public double Uncertainty(Func<double[], double> of)
    {
        var slope = Vector<double>.Build.Dense(Fifth);
        for (int k = 0; k < Unknowns; k++)
        {
            double step = 1e-3 * Math.Sqrt(Covariance[k, k]);
            double[] up = [.. P], down = [.. P];
            up[k] += step;
            down[k] -= step;
            slope[k] = step > 0 ? (of(up) - of(down)) / (2 * step) : 0;
        }

        return Math.Sqrt(Math.Max(0, slope * (Covariance * slope)));
    }

    // A star without an uncertainty weighs as one known to a tenth of a pixel; what that misses is added from the scatter.
    private static double[] Sound(double[] given, int count) =>
        [.. Enumerable.Range(0, count).Select(i => given.Length == count && given[i] > 0 && double.IsFinite(given[i]) ? given[i] : 0.1)];

    private CannotMeasureException NoAgreement() => new("plate-scale.no-agreement",
        $"Only {Used.Count(u => u)} of {Used.Length} stars stand where their sky positions put them; at least {PlateScaleMeasurement.LeastStars} and half " +
            "of them must. "
        + "Check that the list belongs to this frame, and its matches.");

    /// <summary>The affine transformation through three stars that puts most of the others nearest: least median of residuals.</summary>
    private double Start()
    {
        double best = double.PositiveInfinity;
        ulong state = 88172645463325252;
        int Draw()
        {
            // Marsaglia 2003, xorshift; the same triples for the same stars every time.
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            return (int)(state % (ulong)x.Length);
        }

        double[] trial = new double[Fifth], apart = new double[x.Length];
        for (int turn = 0; turn < 600; turn++)
        {
            int a = Draw(), b = Draw(), c = Draw();
            double u1 = ux[b] - ux[a], v1 = uy[b] - uy[a], u2 = ux[c] - ux[a], v2 = uy[c] - uy[a];
            double det = (u1 * v2) - (u2 * v1);
            if (Math.Abs(det) < 0.02)
            {
                continue;
            }

            for (int axis = 0; axis < 2; axis++)
            {
                double[] s = axis == 0 ? x : y;
                double s1 = s[b] - s[a], s2 = s[c] - s[a];
                double pu = ((s1 * v2) - (s2 * v1)) / det, pv = ((u1 * s2) - (u2 * s1)) / det;
                trial[2 + (2 * axis)] = pu;
                trial[3 + (2 * axis)] = pv;
                trial[axis] = s[a] - (pu * ux[a]) - (pv * uy[a]);
            }

            for (int i = 0; i < x.Length; i++)
            {
                (double fx, double fy) = At(trial, ux[i], uy[i]);
                apart[i] = Math.Sqrt(((x[i] - fx) * (x[i] - fx)) + ((y[i] - fy) * (y[i] - fy)));
            }

            // The three stars themselves lie at zero: the median is that of the others.
            double[] sorted = [.. apart];
            Array.Sort(sorted);
            double middle = sorted[Math.Min(x.Length - 1, 3 + ((x.Length - 3) / 2))];
            if (middle < best)
            {
                best = middle;
                Array.Copy(trial, P, Fifth);
            }
        }

        return best;
    }

    private void Select(int unknowns, double within)
    {
        Unknowns = unknowns;
        for (int i = 0; i < x.Length; i++)
        {
            (double dx, double dy) = Residual(i);
            Used[i] = Math.Sqrt((dx * dx) + (dy * dy)) <= within;
        }
    }

    /// <summary>Leaves out what lies farther away than the others' scatter allows; true when anything changed.</summary>
    private bool Reject()
    {
        double[] apart = [.. Enumerable.Range(0, x.Length).Select(i =>
        {
            (double dx, double dy) = Residual(i);
            double vx = (sx[i] * sx[i]) + (Added * Added), vy = (sy[i] * sy[i]) + (Added * Added);
            return Math.Sqrt(((dx * dx / vx) + (dy * dy / vy)) / 2);
        })];

        // The median of a Rayleigh distribution in units of the scatter of one axis, over sqrt(2).
        double usual = Math.Max(1, Robust.Median(apart.Where((_, i) => Used[i])) / 0.8326);
        bool changed = false;
        for (int i = 0; i < x.Length; i++)
        {
            // 3.6 times the root mean square: one good pair of coordinates in 400 000.
            bool good = apart[i] < 3.6 * usual;
            changed |= good != Used[i];
            Used[i] = good;
        }

        return changed;
    }

    /// <summary>Least squares from where the unknowns stand, with the scatter added that explains the residuals.</summary>
    private bool Solve(int unknowns)
    {
        Unknowns = unknowns;
        Array.Clear(P, unknowns, Fifth - unknowns);
        Added = 0;
        for (int turn = 0; turn < 25; turn++)
        {
            var normal = Matrix<double>.Build.Dense(unknowns, unknowns);
            var right = Vector<double>.Build.Dense(unknowns);
            double[] rowX = new double[Fifth], rowY = new double[Fifth];
            for (int i = 0; i < x.Length; i++)
            {
                if (!Used[i])
                {
                    continue;
                }

                Slopes(i, rowX, rowY);
                (double dx, double dy) = Residual(i);
                double wx = 1 / ((sx[i] * sx[i]) + (Added * Added)), wy = 1 / ((sy[i] * sy[i]) + (Added * Added));
                for (int j = 0; j < unknowns; j++)
                {
                    right[j] += (wx * rowX[j] * dx) + (wy * rowY[j] * dy);
                    for (int k = 0; k < unknowns; k++)
                    {
                        normal[j, k] += (wx * rowX[j] * rowX[k]) + (wy * rowY[j] * rowY[k]);
                    }
                }
            }

            if (PositiveDefinite.Inverse(normal) is not Matrix<double> inverse || !(Freedom > 0))
            {
                return false;
            }

            Vector<double> step = inverse * right;
            for (int j = 0; j < unknowns; j++)
            {
                P[j] += step[j];
            }

            Covariance.Clear();
            Covariance.SetSubMatrix(0, 0, inverse);
            double before = Added;
            Added = ScatterBeyond();
            if (right * step < 1e-10 && Math.Abs(Added - before) <= 1e-5 * Added)
            {
                return true;
            }
        }

        return true;
    }

    private double ScatterBeyond()
    {
        double Chi2(double added)
        {
            double sum = 0;
            for (int i = 0; i < x.Length; i++)
            {
                if (Used[i])
                {
                    (double dx, double dy) = Residual(i);
                    sum += (dx * dx / ((sx[i] * sx[i]) + (added * added))) + (dy * dy / ((sy[i] * sy[i]) + (added * added)));
                }
            }

            return sum;
        }

        if (Chi2(0) <= Freedom)
        {
            return 0;
        }

        double low = 0, high = 1e-3;
        while (Chi2(high) > Freedom)
        {
            high *= 2;
        }

        for (int turn = 0; turn < 60; turn++)
        {
            double middle = 0.5 * (low + high);
            (low, high) = Chi2(middle) > Freedom ? (middle, high) : (low, middle);
        }

        return 0.5 * (low + high);
    }

    private void Slopes(int i, double[] rowX, double[] rowY)
    {
        double u = ux[i], v = uy[i], r2 = (u * u) + (v * v);
        double along = 1 + (P[6] * u) + (P[7] * v) + (P[10] * r2) + (P[11] * r2 * r2);
        double wu = (u * along) + (r2 * P[8]), wv = (v * along) + (r2 * P[9]);
        (rowX[0], rowX[1], rowX[2], rowX[3], rowX[4], rowX[5]) = (1, 0, wu, wv, 0, 0);
        (rowY[0], rowY[1], rowY[2], rowY[3], rowY[4], rowY[5]) = (0, 1, 0, 0, wu, wv);
        ReadOnlySpan<(double U, double V)> bends = [(u * u, u * v), (u * v, v * v), (r2, 0), (0, r2), (r2 * u, r2 * v), (r2 * r2 * u, r2 * r2 * v)];
        for (int k = 0; k < bends.Length; k++)
        {
            rowX[6 + k] = (P[2] * bends[k].U) + (P[3] * bends[k].V);
            rowY[6 + k] = (P[4] * bends[k].U) + (P[5] * bends[k].V);
        }
    }
}
