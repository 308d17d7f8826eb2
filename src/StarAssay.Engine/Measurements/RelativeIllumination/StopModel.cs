using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.RelativeIllumination;

/// <summary>Light behind a round stop in the converging cone: the overlap of two circles, the cosine law, and a slope of the source.</summary>
/// <remarks>
/// A stop of the clear diameter c at the distance s before the sensor is met by a cone of the diameter s / N, whose middle stands
/// h (1 - s / f) beside the axis for a place h on the sensor. What of the cone passes is the overlap of both circles; the cosine's
/// fourth power with tan = h / f is the law of a thin lens with the stop at the lens. All of it times (1 + slope x + slope y).
/// </remarks>
internal sealed class StopModel
{
    /// <summary>Unknowns: logarithm of the level, middle x and y (mm), slopes, clear radius and cone radius (mm).</summary>
    public const int Unknowns = 7, WithoutStop = 5;

    // Root mean square of the residuals over their usual scatter, and over the cells' noise (judgments, no source: clean drawn flats had up to
    // 1.1 and 0.6, those with wide shadows 1.3 and more).
    private const double StandsOut = 1.2, Unexplained = 1.5;
    private const int Sectors = 12;
    private const double Mild = 30, LeastCut = 0.985;
    // Cones up to so many cells wide take four points along a side (found on drawn flats).
    private const double Narrow = 4;

    // Gauss's points and weights along a side of one, the mean over a cell: exact for cubes, and for seventh powers.
    private static readonly double[] TwoPoints = [-0.288675134594813, 0.288675134594813], TwoWeights = [0.5, 0.5];
    private static readonly double[] FourPoints = [-0.430568155797026, -0.169990521792428, 0.169990521792428, 0.430568155797026];
    private static readonly double[] FourWeights = [0.173927422568727, 0.326072577431273, 0.326072577431273, 0.173927422568727];
    private static readonly (double X, double Y)[] Corners = [(-1, -1), (1, -1), (-1, 1), (1, 1)];
    private static readonly double[] Cones = [0.03, 0.07, 0.15, 0.3, 0.6, 0.9];
    private readonly double[] x, y, value, sigma;
    private readonly double reachX, reachY, ratio, focal, obstruction, cell;
    private readonly bool noSlope;

    // Residuals are first judged so many times more mildly: a dark corner is no outlier while the stop is still elsewhere.
    private double mildness = 1;
    private Matrix<double>? covariance;

    private StopModel(double[] x, double[] y, double[] value, double[] sigma, double cellMm, RelativeIlluminationRequest request)
    {
        cell = cellMm;
        (this.x, this.y, this.value, this.sigma) = (x, y, value, sigma);
        (ratio, focal, obstruction, noSlope) = (request.FocalRatio, request.FocalLengthMm, request.Obstruction, request.Turned);
        reachX = request.Frames[0].Width * request.PitchUm / 2000;
        reachY = request.Frames[0].Height * request.PitchUm / 2000;
        P = new double[Unknowns];
    }

    /// <summary>The unknowns.</summary>
    public double[] P { get; private set; }

    /// <summary>Whether a stop is part of the model.</summary>
    public bool HasStop { get; private set; }

    /// <summary>The unknowns with each sector of the frame left out in turn.</summary>
    public double[][] Without { get; private set; } = [];

    /// <summary>Root mean square of the residuals, a share of the light on the axis.</summary>
    public double Rms { get; private set; }

    /// <summary>The same of most of the cells: 1.4826 times the median distance from the fit.</summary>
    public double Usual { get; private set; }

    private double HalfDiagonal => Math.Sqrt((reachX * reachX) + (reachY * reachY));

    /// <summary>Fits the cells: with a stop where the light shows one.</summary>
    /// <param name="cells">Light of the cells.</param>
    /// <param name="request">Optics.</param>
    /// <param name="cancel">To stop.</param>
    /// <param name="stop">False: without one, whatever the light shows.</param>
    /// <param name="near">A fit of nearly the same cells to begin with; a stop that it has needs no search.</param>
    public static StopModel Fit(FlatCells cells, RelativeIlluminationRequest request, CancellationToken cancel, bool stop = true, StopModel? near = null)
    {
        var (x, y, value, sigma) = (new List<double>(), new List<double>(), new List<double>(), new List<double>());
        double mm = request.PitchUm / 1000, middleX = (request.Frames[0].Width - 1) / 2.0, middleY = (request.Frames[0].Height - 1) / 2.0;
        for (int j = 0; j < cells.Rows; j++)
        {
            for (int i = 0; i < cells.Columns; i++)
            {
                if (double.IsFinite(cells.Level[j, i]))
                {
                    x.Add(((i * cells.Side) + ((cells.Side - 1) / 2.0) - middleX) * mm);
                    y.Add(((j * cells.Side) + ((cells.Side - 1) / 2.0) - middleY) * mm);
                    value.Add(cells.Level[j, i]);

                    // Pixels' own response differs by about a per cent, of which a cell's median keeps a tenth (common practice, no source).
                    sigma.Add(Math.Sqrt(Math.Pow(cells.Relative[j, i], 2) + 1e-6));
                }
            }
        }

        var model = new StopModel([.. x], [.. y], [.. value], [.. sigma], cells.Side * mm, request);
        model.Search(stop, near, cancel);
        return model;
    }

    /// <summary>Illumination at a distance from the middle of the lit circle over that on the axis.</summary>
    public double At(ReadOnlySpan<double> p, double radiusMm)
    {
        double tangent = radiusMm / focal, cosine2 = 1 / (1 + (tangent * tangent)), light = cosine2 * cosine2;
        if (!HasStop)
        {
            return light;
        }

        // Over that on the axis, which a stop narrower than the cone cuts as well.
        return light * Open(p, radiusMm * (1 - (2 * p[6] * ratio / focal))) / Open(p, 0);
    }

    /// <summary>Light at a place on the sensor over the level, slope included.</summary>
    public double At(ReadOnlySpan<double> p, double xMm, double yMm)
    {
        double dx = xMm - p[1], dy = yMm - p[2];
        return At(p, Math.Sqrt((dx * dx) + (dy * dy))) * (1 + Slope(p, xMm, yMm));
    }

    /// <summary>The fitted light at a place in pixels.</summary>
    public Func<double, double, double> Smooth(RelativeIlluminationRequest request)
    {
        // Along the radius it is tabled: a large frame asks for millions of places.
        const int Points = 2000;
        double mm = request.PitchUm / 1000, middleX = (request.Frames[0].Width - 1) / 2.0, middleY = (request.Frames[0].Height - 1) / 2.0;
        double reach = HalfDiagonal + Math.Sqrt((P[1] * P[1]) + (P[2] * P[2])) + mm;
        double[] p = P, table = [.. Enumerable.Range(0, Points + 1).Select(k => Math.Max(At(p, reach * k / Points), 1e-3))];
        return (x, y) =>
        {
            double right = (x - middleX) * mm, up = (y - middleY) * mm, dx = right - p[1], dy = up - p[2];
            double at = Math.Min(Math.Sqrt((dx * dx) + (dy * dy)) / reach * Points, Points - 1e-6);
            int k = (int)at;
            return (table[k] + ((at - k) * (table[k + 1] - table[k]))) * (1 + Slope(p, right, up));
        };
    }

    /// <summary>What the source's slope adds at a place.</summary>
    public double Slope(ReadOnlySpan<double> p, double xMm, double yMm) => (p[3] * xMm / (2 * reachX)) + (p[4] * yMm / (2 * reachY));

    /// <summary>Diameter of the circle within which more than a share of the light arrives; NaN when nothing clips.</summary>
    public double Circle(double[] p, double share)
    {
        if (!HasStop)
        {
            return double.NaN;
        }

        (double low, double high) = (0, 1.05 * (p[5] + p[6]) / (1 - (2 * p[6] * ratio / focal)));
        for (int turn = 0; turn < 60; turn++)
        {
            double middle = (low + high) / 2;
            (low, high) = At(p, middle) > share ? (middle, high) : (low, middle);
        }

        return low + high;
    }

    /// <summary>Whether some cells depart from the fit: by more than their noise, or by more than most others do.</summary>
    public bool LeavesSomething => Rms > StandsOut * Usual
        || Enumerable.Range(0, x.Length).Average(i => Math.Pow(Residual(P, i), 2)) > Unexplained * Unexplained;

    /// <summary>By how much the cells of the worst corner depart from the fit, a share of the light on the axis; their median.</summary>
    public double CornerDeparture()
    {
        return Corners.Select(c => Robust.Median(In(c).Select(i => Residual(P, i) * sigma[i]))).MaxBy(Math.Abs);
    }

    /// <summary>Value of a function of the unknowns and what leaving out each sector in turn changes of it, or the cells' scatter where that is more.</summary>
    /// <remarks>A stop shows in a few corners only: of the sectors three or four tell of it, and now and then they agree by chance.</remarks>
    public (double Value, double Uncertainty) Of(Func<double[], double> function) =>
        (function(P), Math.Max(Jackknife.Scatter([.. Without.Select(function)]), Noise(function)));

    /// <summary>Standard uncertainty of a function of the unknowns by the cells' scatter about the fit.</summary>
    private double Noise(Func<double[], double> function)
    {
        if (covariance is null)
        {
            return 0;
        }

        int[] free = Free();
        var slope = Vector<double>.Build.Dense(free.Length, k =>
        {
            double step = 0.1 * Math.Sqrt(covariance[k, k]);
            double[] up = [.. P], down = [.. P];
            (up[free[k]], down[free[k]]) = (up[free[k]] + step, down[free[k]] - step);
            return step > 0 ? (function(up) - function(down)) / (2 * step) : 0;
        });
        return Math.Sqrt(Math.Max(0, slope * (covariance * slope)));
    }

    /// <summary>Area of the cone that passes when its middle stands beside that of the stop.</summary>
    private double Open(ReadOnlySpan<double> p, double away) =>
        Circles.Overlap(p[6], p[5], away) - Circles.Overlap(obstruction * p[6], p[5], away);

    private void Search(bool stop, StopModel? near, CancellationToken cancel)
    {
        double level = Robust.Median(value.Where((_, i) => Math.Sqrt((x[i] * x[i]) + (y[i] * y[i])) < 0.4 * HalfDiagonal));
        bool[] all = [.. x.Select(_ => true)];
        HasStop = false;
        double[] plain = [Math.Log(level), 0, 0, 0, 0, 0, 0];
        double bare = Descend(ref plain, all, cancel);

        if (!stop)
        {
            Settle(plain, cancel);
            return;
        }

        HasStop = true;
        (double cost, double[] best) = Finished(near is { HasStop: true } ? [near.P] : Likely(level, plain, cancel), plain, all, cancel);

        // Twice the logarithm of the likelihood must gain more than chance gives two unknowns among so many starts; residuals scaled to their scatter.
        double scale = Math.Max(1, Scatter(best, all));
        // And it must take more from a corner than dust and an uneven source feign.
        HasStop = (bare - cost) / (scale * scale) > 25
            && Corners.Min(c => At(best, Math.Sqrt(Math.Pow((c.X * reachX) - best[1], 2) + Math.Pow((c.Y * reachY) - best[2], 2)))) < LeastCut;
        Settle(HasStop ? best : plain, cancel);
    }

    /// <summary>The two likeliest ends of many starts on a part of the cells: where half of the light is left, and how wide the cone is there.</summary>
    private IEnumerable<double[]> Likely(double level, double[] plain, CancellationToken cancel)
    {
        mildness = Mild;
        bool[] some = [.. x.Select((_, i) => i % 5 == 0 || Math.Sqrt((x[i] * x[i]) + (y[i] * y[i])) > 0.75 * HalfDiagonal)];
        (double X, double Y) dark = DarkestCorner();
        var starts = new List<(double Cost, double[] P)>();
        foreach (double half in new[] { 0.5, 0.62, 0.75, 0.87, 0.97, 1.07, 1.2 })
        {
            foreach (double cone in Cones)
            {
                double width = cone * HalfDiagonal, chief = Math.Max(0.1, 1 - (2 * width * ratio / focal));
                double[] p = [Math.Log(level), 0, 0, plain[3], plain[4], half * HalfDiagonal * chief, width];
                starts.Add((Cost(p, some), p));

                // Where one corner is the darkest, the middle of the light lies on the other side.
                double[] aside = [.. p];
                (aside[1], aside[2]) = (-0.1 * Math.Sign(dark.X) * HalfDiagonal, -0.1 * Math.Sign(dark.Y) * HalfDiagonal);
                starts.Add((Cost(aside, some), aside));
            }
        }

        // Of each clear width the two likeliest: from a stop outside the frame no way leads in.
        var reached = new List<(double Cost, double[] P)>();
        foreach ((_, double[] start) in starts.Chunk(2 * Cones.Length).SelectMany(c => c.OrderBy(s => s.Cost).Take(3)).Where(s => double.IsFinite(s.Cost)))
        {
            double[] p = start;
            reached.Add((Descend(ref p, some, cancel), p));
        }

        return reached.OrderBy(s => s.Cost).Take(2).Select(s => s.P);
    }

    /// <summary>The best of some unknowns, each brought to its end with all cells; `plain` where there are none.</summary>
    private (double Cost, double[] P) Finished(IEnumerable<double[]> starts, double[] plain, bool[] all, CancellationToken cancel)
    {
        (double cost, double[] best) = (double.PositiveInfinity, plain);
        foreach (double[] start in starts)
        {
            double[] p = start;
            mildness = Mild;
            Descend(ref p, all, cancel);
            mildness = 1;
            double at = Descend(ref p, all, cancel);
            (cost, best) = at < cost ? (at, p) : (cost, best);
        }

        return (cost, best);
    }

    /// <summary>Takes unknowns for the answer, with what they leave and what leaving out each sector changes.</summary>
    private void Settle(double[] unknowns, CancellationToken cancel)
    {
        P = unknowns;
        Rms = Math.Sqrt(Enumerable.Range(0, x.Length).Average(i => Math.Pow(Residual(P, i) * sigma[i], 2)));
        Usual = 1.4826 * Robust.Median(Enumerable.Range(0, x.Length).Select(i => Math.Abs(Residual(P, i) * sigma[i])));
        TakeCovariance();
        var without = new double[Sectors][];
        for (int s = 0; s < Sectors; s++)
        {
            bool[] keep = [.. Enumerable.Range(0, x.Length).Select(i => Sector(i) != s)];
            double[] p = [.. P];
            Descend(ref p, keep, cancel);
            without[s] = p;
        }

        Without = without;
    }

    /// <summary>Covariance by what each cell departs from the fit.</summary>
    /// <remarks>Each cell's residual times its weight in the unknowns, squared and summed (White 1980, Econometrica 48, 817, from memory).</remarks>
    private void TakeCovariance()
    {
        int[] free = Free();
        var pulls = Matrix<double>.Build.Dense(free.Length, free.Length);
        (Matrix<double> normal, _) = Equations(P, free, [.. x.Select(_ => true)], pulls);
        covariance = PositiveDefinite.Inverse(normal) is { } inverse ? inverse * pulls * inverse : null;
    }

    private IEnumerable<int> In((double X, double Y) corner) => Enumerable.Range(0, x.Length)
        .Where(i => Math.Abs((corner.X * reachX) - x[i]) + Math.Abs((corner.Y * reachY) - y[i]) < 0.15 * HalfDiagonal);

    private (double X, double Y) DarkestCorner() => Corners.MinBy(c => Robust.Median(In(c).Select(i => value[i])));

    private int Sector(int i) => Math.Clamp((int)((Math.Atan2(y[i], x[i]) + Math.PI) / (2 * Math.PI) * Sectors), 0, Sectors - 1);

    private double Residual(ReadOnlySpan<double> p, int i)
    {
        double[] points = AcrossEdge(p, i) ? FourPoints : TwoPoints, weights = points == FourPoints ? FourWeights : TwoWeights;
        double mean = 0;
        for (int k = 0; k < points.Length; k++)
        {
            for (int j = 0; j < points.Length; j++)
            {
                mean += weights[k] * weights[j] * At(p, x[i] + (cell * points[k]), y[i] + (cell * points[j]));
            }
        }

        return ((value[i] / Math.Exp(p[0])) - mean) / (sigma[i] * mildness);
    }

    /// <summary>Whether a cell reaches where the stop's edge crosses a cone that is not much wider than the cell: two points do not follow that.</summary>
    private bool AcrossEdge(ReadOnlySpan<double> p, int i)
    {
        if (!HasStop || p[6] > Narrow * cell)
        {
            return false;
        }

        double chief = 1 - (2 * p[6] * ratio / focal), from = (p[5] - p[6]) / chief, to = (p[5] + p[6]) / chief;
        double dx = x[i] - p[1], dy = y[i] - p[2], far = Math.Sqrt((dx * dx) + (dy * dy));
        return far > from - cell && far < to + cell;
    }

    private double Scatter(double[] p, bool[] keep) =>
        1.4826 * Robust.Median(Enumerable.Range(0, x.Length).Where(i => keep[i]).Select(i => Math.Abs(Residual(p, i))));

    private double Cost(ReadOnlySpan<double> p, bool[] keep)
    {
        // A stop far beside the sensor, or near the objective, is what dust and an uneven source make of the model. Stop and cone can be
        // exchanged with hardly a change of the light; a stop that cuts the cone on the axis would be the aperture, so it is the larger.
        if (HasStop && !(p[5] > p[6] && p[6] > 1e-3 * HalfDiagonal && 2 * p[6] * ratio < 0.6 * focal
            && (p[1] * p[1]) + (p[2] * p[2]) < 0.36 * HalfDiagonal * HalfDiagonal))
        {
            return double.PositiveInfinity;
        }

        double sum = 0;
        for (int i = 0; i < x.Length; i++)
        {
            if (keep[i])
            {
                double r = Residual(p, i);
                sum += 8 * (Math.Sqrt(1 + (r * r / 4)) - 1);
            }
        }

        return sum;
    }

    private double Descend(ref double[] p, bool[] keep, CancellationToken cancel)
    {
        int[] free = Free();
        return DampedDescent.Run(ref p, free, q => Cost(q, keep), q => Equations(q, free, keep), 1e-8, cancel);
    }

    private int[] Free() => [.. Enumerable.Range(0, HasStop ? Unknowns : WithoutStop).Where(k => !(noSlope && k is 3 or 4) && !(!HasStop && k is 1 or 2))];

    private (Matrix<double> Normal, Vector<double> Gradient) Equations(double[] p, int[] free, bool[] keep, Matrix<double>? pulls = null)
    {
        var normal = Matrix<double>.Build.Dense(free.Length, free.Length);
        var gradient = Vector<double>.Build.Dense(free.Length);
        double[] row = new double[free.Length], q = [.. p];
        for (int i = 0; i < x.Length; i++)
        {
            if (!keep[i])
            {
                continue;
            }

            double r = Residual(p, i), weight = 1 / Math.Sqrt(1 + (r * r / 4));
            for (int k = 0; k < free.Length; k++)
            {
                double h = free[k] is 0 or 3 or 4 ? 1e-5 : 1e-4 * HalfDiagonal, old = q[free[k]];
                q[free[k]] = old + h;
                double up = Residual(q, i);
                q[free[k]] = old - h;
                row[k] = (up - Residual(q, i)) / (2 * h);
                q[free[k]] = old;
            }

            for (int j = 0; j < free.Length; j++)
            {
                gradient[j] += weight * row[j] * r;
                for (int k = 0; k < free.Length; k++)
                {
                    normal[j, k] += weight * row[j] * row[k];
                    if (pulls is not null)
                    {
                        pulls[j, k] += weight * r * row[j] * weight * r * row[k];
                    }
                }
            }
        }

        return (normal, gradient);
    }
}
