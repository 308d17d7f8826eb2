using MathNet.Numerics.LinearAlgebra;

namespace StarAssay.Engine.Numerics;

/// <summary>A circle or a straight line in the plane, told by a point on it, the direction of its normal there, and its curvature.</summary>
/// <remarks>
/// With u along the normal and v along the tangent from the point, F = u + k (u^2 + v^2) / 2 is zero on the circle, and the distance
/// from it is 2 F / (1 + sqrt(1 + 2 k F)): exact, and well behaved through k = 0, where centre and radius run away. The
/// distance grows along the normal; a positive curvature has the center on the other side.
/// </remarks>
/// <param name="X">Point on the curve.</param>
/// <param name="Y">Point on the curve.</param>
/// <param name="Angle">Direction of the normal there, radians from +x towards +y.</param>
/// <param name="Curvature">One over the radius; 0 = straight.</param>
internal readonly record struct CircleArc(double X, double Y, double Angle, double Curvature)
{
    private const int Trials = 800, Most = 40;

    /// <summary>Radius; infinite when straight.</summary>
    public double Radius => 1 / Math.Abs(Curvature);

    /// <summary>Center; not finite when straight.</summary>
    public (double X, double Y) Center => (X - (Math.Cos(Angle) / Curvature), Y - (Math.Sin(Angle) / Curvature));

    /// <summary>Signed distance of a point.</summary>
    public double Distance(double x, double y)
    {
        (double u, double v) = Local(x, y);
        double f = u + (0.5 * Curvature * ((u * u) + (v * v)));
        return 2 * f / (1 + Math.Sqrt(Math.Max(0, 1 + (2 * Curvature * f))));
    }

    /// <summary>Length of the curve from its point to the foot of another.</summary>
    public double Along(double x, double y)
    {
        (double u, double v) = Local(x, y);
        double turn = Math.Atan2(Curvature * v, 1 + (Curvature * u));
        return Math.Abs(turn) < 1e-9 ? v / (1 + (Curvature * u)) : turn / Curvature;
    }

    /// <summary>Direction of the normal at a length along the curve, radians.</summary>
    public double NormalAt(double along) => Angle + (Curvature * along);

    /// <summary>The place at a length along the curve and a distance from it.</summary>
    public (double X, double Y) At(double along, double distance)
    {
        double turn = Curvature * along;

        // sin(t k) / k and (1 - cos(t k)) / k through k = 0.
        double v = Math.Abs(turn) < 1e-6 ? along : Math.Sin(turn) / Curvature;
        double u = Math.Abs(turn) < 1e-6 ? -0.5 * Curvature * along * along : (Math.Cos(turn) - 1) / Curvature;
        (double s, double c) = Math.SinCos(Angle);
        (double ns, double nc) = Math.SinCos(Angle + turn);
        return (X + (u * c) - (v * s) + (distance * nc), Y + (u * s) + (v * c) + (distance * ns));
    }

    /// <summary>The circle that most points with their directions agree on; null when no two thirds of a dozen do.</summary>
    /// <param name="x">Points.</param>
    /// <param name="y">Points.</param>
    /// <param name="normal">Direction that the normal should have at each, radians.</param>
    /// <param name="tolerance">Distance within which a point agrees.</param>
    /// <param name="leastRadius">Smaller circles are not looked at.</param>
    public static CircleArc? Search(double[] x, double[] y, double[] normal, double tolerance, double leastRadius)
    {
        var random = new Random(20_260_314);
        CircleArc? best = null;
        int most = 8;
        for (int trial = 0; trial < Trials && x.Length >= 3; trial++)
        {
            int i = random.Next(x.Length), j = random.Next(x.Length), k = random.Next(x.Length);
            if (Through((x[i], y[i]), (x[j], y[j]), (x[k], y[k]), normal[i]) is not { } arc || arc.Radius < leastRadius)
            {
                continue;
            }

            int count = 0;
            for (int p = 0; p < x.Length; p++)
            {
                count += Math.Abs(arc.Distance(x[p], y[p])) < tolerance && arc.Agrees(x[p], y[p], normal[p]) ? 1 : 0;
            }

            (most, best) = count > most ? (count, arc) : (most, best);
        }

        return best;
    }

    /// <summary>Whether a direction lies within 35 degrees of the normal beside a point.</summary>
    public bool Agrees(double x, double y, double normal) => Math.Cos(normal - NormalAt(Along(x, y))) > 0.82;

    /// <summary>Least squares with weights that wild points do not move (Tukey's).</summary>
    /// <param name="x">Points.</param>
    /// <param name="y">Points.</param>
    /// <param name="reach">Weight 0 from this many times the usual distance, and never from less than a tenth of the unit.</param>
    public (CircleArc Arc, Matrix<double> Covariance, double Usual) Fit(double[] x, double[] y, double reach = 4.7)
    {
        CircleArc arc = this;
        Matrix<double> normal = Matrix<double>.Build.Dense(3, 3);
        double usual = 0;
        for (int turn = 0; turn < Most; turn++)
        {
            double[] distance = new double[x.Length];
            for (int p = 0; p < x.Length; p++)
            {
                distance[p] = arc.Distance(x[p], y[p]);
            }

            usual = 1.4826 * Robust.Median(distance.Select(Math.Abs));
            double limit = reach * Math.Max(usual, 0.02);
            normal.Clear();
            var side = Vector<double>.Build.Dense(3);
            double[] row = new double[3];
            for (int p = 0; p < x.Length; p++)
            {
                double z = distance[p] / limit;
                if (Math.Abs(z) >= 1)
                {
                    continue;
                }

                double weight = Math.Pow(1 - (z * z), 2);
                arc.Slopes(x[p], y[p], row);
                for (int i = 0; i < 3; i++)
                {
                    side[i] -= weight * row[i] * distance[p];
                    for (int j = 0; j < 3; j++)
                    {
                        normal[i, j] += weight * row[i] * row[j];
                    }
                }
            }

            if (PositiveDefinite.Inverse(normal) is not { } inverse)
            {
                break;
            }

            Vector<double> step = inverse * side;
            arc = new CircleArc(arc.X + (step[0] * Math.Cos(arc.Angle)), arc.Y + (step[0] * Math.Sin(arc.Angle)), arc.Angle + step[1],
                arc.Curvature + step[2]);
            if (Math.Abs(step[0]) < 1e-6 && turn > 4)
            {
                break;
            }
        }

        Matrix<double> covariance = (PositiveDefinite.Inverse(normal) ?? Matrix<double>.Build.DenseIdentity(3)) * (usual * usual);
        return (arc, covariance, usual);
    }

    /// <summary>Derivatives of the distance by a shift along the normal, by the angle and by the curvature.</summary>
    public void Slopes(double x, double y, double[] row)
    {
        (double u, double v) = Local(x, y);
        double f = u + (0.5 * Curvature * ((u * u) + (v * v))), root = Math.Sqrt(Math.Max(1e-12, 1 + (2 * Curvature * f)));
        row[0] = -(1 + (Curvature * u)) / root;
        row[1] = v / root;

        // By the curvature with F's own, at F = 0 half the square of the distance from the point.
        double bow = 0.5 * ((u * u) + (v * v)), d = 2 * f / (1 + root);
        row[2] = (bow - (d * d / 2)) / root;
    }

    private static CircleArc? Through((double X, double Y) a, (double X, double Y) b, (double X, double Y) c, double normal)
    {
        double abx = b.X - a.X, aby = b.Y - a.Y, acx = c.X - a.X, acy = c.Y - a.Y, cross = (abx * acy) - (aby * acx);
        double ab = (abx * abx) + (aby * aby), ac = (acx * acx) + (acy * acy), bc = Math.Pow(c.X - b.X, 2) + Math.Pow(c.Y - b.Y, 2);
        double product = Math.Sqrt(ab * ac * bc);
        if (product < 1e-6)
        {
            return null;
        }

        // Twice the cross product over the sides' product is the curvature (Heron); its sign follows the given normal.
        double curvature = 2 * cross / product, angle;
        if (Math.Abs(curvature) < 1e-7)
        {
            (double dx, double dy) = ab > ac ? (abx, aby) : (acx, acy);
            angle = Math.Atan2(-dx, dy);
        }
        else
        {
            double cx = ((acy * ab) - (aby * ac)) / (2 * cross), cy = ((abx * ac) - (acx * ab)) / (2 * cross);
            angle = Math.Atan2(-cy, -cx);
        }

        bool along = Math.Cos(angle - normal) > 0;
        double size = Math.Abs(curvature) < 1e-7 ? 0 : Math.Abs(curvature);
        return new CircleArc(a.X, a.Y, along ? angle : angle + Math.PI, along ? size : -size);
    }

    private (double U, double V) Local(double x, double y)
    {
        (double s, double c) = Math.SinCos(Angle);
        double dx = x - X, dy = y - Y;
        return ((dx * c) + (dy * s), (dy * c) - (dx * s));
    }
}
