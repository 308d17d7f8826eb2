using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Reflections;

/// <summary>Circles as the camera saw them, what distortion and perspective leave open, offsets and tilts.</summary>
/// <remarks>
/// Every number is a function of edge points and of the view. What the view leaves open (distortion, angle of view) is carried by making all of it
/// again with each of them moved by its standard uncertainty: both circles of a pair move together.
/// </remarks>
internal sealed class CircleGeometry
{
    private const double UnknownDistortion = 0.01;

    // (H / f)^2 where the angle of view is not known: of 30 to 76 deg from corner to corner, mean and standard deviation (common practice, no source).
    private const double UnknownPerspective = 0.29, UnknownPerspectiveBy = 0.17;

    // By how much a circle's plane stands off the line of sight when nothing shows it, along each axis (common practice, no source), and
    // how many times its noise an ellipse must be drawn out to show it.
    private const double UsualSlantDeg = 0.3, SlantShows = 3;

    // How well diameters and distances are measured by hand, a share (common practice, no source).
    private const double LengthsKnown = 0.014;

    private const double Blending = 0.04, WiderThanUsual = 1.2;

    private const double ToArcmin = 180 * 60 / Math.PI;

    // Chi squared of two components that chance exceeds once in a hundred.
    private const double StandsOut = 9.21;

    private readonly ReflectionsRequest request;
    private readonly PhotoEdges edges;
    private readonly OutlineTrace[] traces;

    // The view itself, and moved by each thing that is not known.
    private readonly PhotoView[] views;
    private readonly ((double X, double Y) Middle, Outline Outline, Matrix<double> Covariance, double Rms)[][] seen;

    public CircleGeometry(ReflectionsRequest request, PhotoEdges edges, OutlineTrace[] traces)
    {
        (this.request, this.edges) = (request, edges);
        double k = double.IsNaN(request.Distortion) ? 0 : request.Distortion;
        double dk = !double.IsNaN(request.DistortionUncertainty) ? request.DistortionUncertainty
            : double.IsNaN(request.Distortion) ? UnknownDistortion : Math.Max(0.001, 0.1 * Math.Abs(k));
        double q = UnknownPerspective, dq = UnknownPerspectiveBy;
        if (!double.IsNaN(request.FieldOfViewDeg))
        {
            double half = request.FieldOfViewDeg * Math.PI / 360, tangent = Math.Tan(half);
            double by = double.IsNaN(request.FieldOfViewUncertaintyDeg) ? 0.03 * request.FieldOfViewDeg : request.FieldOfViewUncertaintyDeg;
            (q, dq) = (tangent * tangent, tangent * (1 + (tangent * tangent)) * by * Math.PI / 180);
        }

        int w = edges.Frame.Width, h = edges.Frame.Height;
        View = new PhotoView(w, h, k, q);
        views = [View, View with { Distortion = k + dk }, View with { Perspective = q + dq }];
        this.traces = [.. traces];
        seen = [.. views.Select(v => this.traces.Select(t => v.Circle(t.X, t.Y)).ToArray())];
    }

    /// <summary>How the camera drew what it saw.</summary>
    public PhotoView View { get; }

    /// <summary>How many circles there are.</summary>
    public int Count => traces.Length;

    private double Sensible(int i) => seen[0][i].Outline.R;

    /// <summary>Whether a circle lies inside another.</summary>
    public bool Nested(int outer, int inner)
    {
        (double x, double y) = Between(0, outer, inner);
        return Math.Sqrt((x * x) + (y * y)) + (0.5 * Sensible(inner)) < Sensible(outer);
    }

    /// <summary>One circle.</summary>
    public ReflectionCircle Circle(int i)
    {
        OutlineTrace trace = traces[i];
        (double x, double y) = seen[0][i].Middle;
        Matrix<double> covariance = Random(i);
        Matrix<double> slant = Slant(i, out double ratio, out double oblique);
        double vx = covariance[0, 0] + slant[0, 0], vy = covariance[1, 1] + slant[1, 1], vr = seen[0][i].Covariance[2, 2];
        for (int v = 1; v < views.Length; v++)
        {
            vx += Math.Pow(seen[v][i].Middle.X - x, 2);
            vy += Math.Pow(seen[v][i].Middle.Y - y, 2);
            vr += Math.Pow(seen[v][i].Outline.R - Sensible(i), 2);
        }

        return new ReflectionCircle(i + 1, Pixels(x + (0.5 * (View.Columns - 1)), vx), Pixels(y + (0.5 * (View.Rows - 1)), vy), Pixels(Sensible(i), vr),
            ratio, oblique, trace.BrightInside, trace.Width, trace.Step / edges.Range, trace.Covered, trace.Inside, trace.Clipped, trace.Roughness,
            trace.Outline.X, trace.Outline.Y, trace.Outline.Long, trace.Outline.Short, trace.Outline.Angle * 180 / Math.PI);
    }

    /// <summary>One circle against a larger one.</summary>
    public ReflectionPair Pair(int outer, int inner)
    {
        (double x, double y) = Between(0, outer, inner);
        Matrix<double> covariance = Random(outer) + Random(inner) + Common(v => Between(v, outer, inner)) + Slant(outer, out _, out _)
            + Slant(inner, out _, out _);
        (double length, double along, double turn, double across, double stands) = Vector(x, y, covariance);
        double r = Sensible(outer), share = length / r, bar = along / r;
        double mm = MmPerPx;
        double scale = LengthsKnown / Math.Sqrt(2) * length * mm;
        return new ReflectionPair(outer + 1, inner + 1, Pixels(x, covariance[0, 0]), Pixels(y, covariance[1, 1]), new Measured(length, along, "pix"),
            new Measured(share, bar, ""), new Measured(length * mm, Math.Sqrt(Math.Pow(along * mm, 2) + (scale * scale)), "mm"),
            new Measured(turn, across, "deg"), stands > StandsOut);
    }

    /// <summary>What of the bar of a pair's share averages out over photos.</summary>
    public double RandomShare(int outer, int inner)
    {
        (double x, double y) = Between(0, outer, inner);
        return Vector(x, y, Random(outer) + Random(inner)).Along / Sensible(outer);
    }

    /// <summary>Tilts in arcmin: how the focuser aims beside the objective's middle, how the objective's axis leans, or both.</summary>
    /// <remarks>
    /// Seen from the hole, mirrors unfolded: the hole's own reflection stands where the surface's normal goes through the hole. On a surface of
    /// radius R at the distance D whose axis leans by e the place is x (1 / R - 1 / D) = e - (v + h) / (2 D), with the camera's pupil at v
    /// and the hole at h.
    /// </remarks>
    public (Measured X, Measured Y, Measured Size) Tilt(bool aim, bool lean)
    {
        int c = request.Objective - 1, s = request.Spot - 1, a = request.Sight - 1;
        double far = request.ObjectiveDistanceMm, mm = MmPerPx;
        if (!double.IsFinite(mm * far) || (lean && (s < 0 || double.IsNaN(request.SurfaceRadiusMm)))
            || (aim && (a < 0 || double.IsNaN(request.SightDistanceMm))))
        {
            Measured none = Measured.None("arcmin");
            return (none, none, none);
        }

        double ofLean = lean ? mm * ((1 / request.SurfaceRadiusMm) - (1 / far)) : 0, ofAim = aim ? mm / far : 0;
        (double X, double Y) At(int v)
        {
            (double x, double y) = (0, 0);
            if (lean)
            {
                (double dx, double dy) = Between(v, c, s);
                (x, y) = (ofLean * dx, ofLean * dy);
            }

            if (aim)
            {
                (double dx, double dy) = Between(v, c, a);
                (x, y) = (x + (ofAim * dx), y + (ofAim * dy));
            }

            return (x * ToArcmin, y * ToArcmin);
        }

        (double tx, double ty) = At(0);
        double pupil = request.ViewpointUncertaintyMm * ((aim ? (1 / request.SightDistanceMm) - (1 / far) : 0) + (lean ? 1 / (2 * far) : 0)) * ToArcmin;
        Matrix<double> covariance = (Random(c) * Math.Pow((ofLean + ofAim) * ToArcmin, 2)) + Common(At)
            + (Slant(c, out _, out _) * Math.Pow((ofLean + ofAim) * ToArcmin, 2));
        foreach ((bool used, int i, double by) in new[] { (lean, s, ofLean), (aim, a, ofAim) })
        {
            covariance += used ? (Random(i) + Slant(i, out _, out _)) * Math.Pow(by * ToArcmin, 2) : Matrix<double>.Build.Dense(2, 2);
        }

        covariance[0, 0] += (pupil * pupil) + Math.Pow(LengthsKnown * tx, 2);
        covariance[1, 1] += (pupil * pupil) + Math.Pow(LengthsKnown * ty, 2);
        (double length, double along, _, _, _) = Vector(tx, ty, covariance);
        return (new Measured(tx, Math.Sqrt(covariance[0, 0]), "arcmin"), new Measured(ty, Math.Sqrt(covariance[1, 1]), "arcmin"),
            new Measured(length, along, "arcmin"));
    }

    // In the plane of the objective's edge; of any pair once that edge and its diameter are known.
    private double MmPerPx => request.Objective > 0 ? request.ObjectiveDiameterMm / 2 / Sensible(request.Objective - 1) : double.NaN;

    private (double X, double Y) Between(int view, int outer, int inner) =>
        views[view].Touching(seen[view][outer].Middle, seen[view][inner].Middle);

    // An edge nearer than twice its own width blurs into this one and moves it, more where it is nearer; so does one that was not told from it
    // and makes it wider than the photo's others. By how much was seen on drawn photos (tests/accuracy/reflections.py, seeds 301 to 350).
    private Matrix<double> Random(int i)
    {
        double width = traces[i].Width, usual = Robust.Median(traces.Select(t => t.Width));
        double near = Math.Clamp(2 - (Room(i) / width), 0, 1), wide = width > WiderThanUsual * usual ? 1 : 0;
        double by = Blending * width * Math.Max(near, wide);
        return seen[0][i].Covariance.SubMatrix(0, 2, 0, 2) + (Matrix<double>.Build.DenseIdentity(2) * (by * by));
    }

    // Distance to the nearest other outline, where they come nearest.
    private double Room(int i)
    {
        double room = double.PositiveInfinity;
        for (int j = 0; j < traces.Length; j++)
        {
            Outline a = traces[i].Outline, b = traces[j].Outline;
            double apart = Math.Sqrt(Math.Pow(a.X - b.X, 2) + Math.Pow(a.Y - b.Y, 2));
            room = j == i || apart > a.R + b.R ? room : Math.Min(room, Math.Max(0, Math.Abs(a.R - b.R) - apart));
        }

        return room;
    }

    // How far the middle of a circle may lie beside that of its outline because it is seen from the side: R^2 / f times the sine of the angle, along
    // the short axis, to which of both sides the outline does not tell.
    private Matrix<double> Slant(int i, out double ratio, out double obliqueDeg)
    {
        Outline outline = seen[0][i].Outline;
        Matrix<double> covariance = seen[0][i].Covariance;
        double noise = covariance[3, 3] + covariance[4, 4];
        for (int v = 1; v < views.Length; v++)
        {
            Outline other = seen[v][i].Outline;
            noise += Math.Pow(other.G1 - outline.G1, 2) + Math.Pow(other.G2 - outline.G2, 2);
        }

        double g = outline.G * outline.G > SlantShows * SlantShows * noise ? outline.G : 0, flat = Math.Sqrt((1 - g) / (1 + g));
        ratio = Math.Sqrt((1 - outline.G) / (1 + outline.G));
        obliqueDeg = Math.Acos(flat) * 180 / Math.PI;
        double reach = outline.R * outline.R / View.Half * Math.Sqrt(View.Perspective), usual = Math.Pow(reach * UsualSlantDeg * Math.PI / 180, 2);
        double shift = reach * Math.Sqrt(1 - (flat * flat)), nx = -Math.Sin(outline.Angle), ny = Math.Cos(outline.Angle);
        Matrix<double> slant = Matrix<double>.Build.DenseIdentity(2) * usual;
        slant[0, 0] += shift * shift * nx * nx;
        slant[0, 1] += shift * shift * nx * ny;
        slant[1, 0] += shift * shift * nx * ny;
        slant[1, 1] += shift * shift * ny * ny;
        return slant;
    }

    private Matrix<double> Common(Func<int, (double X, double Y)> of)
    {
        var sum = Matrix<double>.Build.Dense(2, 2);
        (double x, double y) = of(0);
        for (int v = 1; v < views.Length; v++)
        {
            (double vx, double vy) = of(v);
            double dx = vx - x, dy = vy - y;
            sum[0, 0] += dx * dx;
            sum[0, 1] += dx * dy;
            sum[1, 0] += dx * dy;
            sum[1, 1] += dy * dy;
        }

        return sum;
    }

    // Length and direction with their bars, and how far the vector stands out of its covariance.
    private static (double Length, double Along, double TurnDeg, double AcrossDeg, double Stands) Vector(double x, double y, Matrix<double> covariance)
    {
        double length = Math.Sqrt((x * x) + (y * y)), c = length > 0 ? x / length : 1, s = length > 0 ? y / length : 0;
        double along = (c * c * covariance[0, 0]) + (2 * c * s * covariance[0, 1]) + (s * s * covariance[1, 1]);
        double across = (s * s * covariance[0, 0]) - (2 * c * s * covariance[0, 1]) + (c * c * covariance[1, 1]);
        double det = (covariance[0, 0] * covariance[1, 1]) - (covariance[0, 1] * covariance[0, 1]);
        double stands = det > 0 ? ((x * x * covariance[1, 1]) - (2 * x * y * covariance[0, 1]) + (y * y * covariance[0, 0])) / det : 0;
        double turn = length > 0 ? Math.Min(180, Math.Sqrt(Math.Max(0, across)) / length * 180 / Math.PI) : 180;
        return (length, Math.Sqrt(Math.Max(0, along)), Math.Atan2(y, x) * 180 / Math.PI, turn, stands);
    }

    private static Measured Pixels(double value, double variance) => new(value, Math.Sqrt(variance), "pix");
}
