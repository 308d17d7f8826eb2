using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.EdgeContrast;

/// <summary>How dark the dark side is: cells of it by their distance from the edge, and patches that stick out.</summary>
internal sealed class DarkSide
{
    private const int Across = 128, Groups = 12, Rings = 24;

    // A ghost sticks out by so many standard deviations in so many cells that touch, and by so much of the bright side; a frame may have noise, but no
    // ghost can fill more than this share of the dark.
    private const double Sticks = 6, LeastGhost = 1e-4, MostShare = 0.25;

    // Glare itself is uneven along the edge by so much, as the bright side is.
    private const double Uneven = 0.15;
    private const int LeastCells = 6, MostGhosts = 5;

    private readonly List<Cell> cells = [];
    private readonly int side;
    private readonly double bright;

    private DarkSide(int side, double bright) => (this.side, this.bright) = (side, bright);

    /// <summary>Distances of the profile, pixels.</summary>
    public double[] Distance { get; private set; } = [];

    /// <summary>Light there over that of the bright side.</summary>
    public double[] Light { get; private set; } = [];

    /// <summary>Its standard uncertainty.</summary>
    public double[] Uncertainty { get; private set; } = [];

    /// <summary>Reads the dark side.</summary>
    /// <param name="finding">Frame and edge.</param>
    /// <param name="from">Nearest distance from the edge, pixels.</param>
    /// <param name="zero">Level without light, ADU; NaN: the far dark's.</param>
    /// <param name="bright">Light of the bright side, ADU.</param>
    public static DarkSide Of(EdgeFinding finding, double from, double zero, double bright)
    {
        int w = finding.Frame.Width, h = finding.Frame.Height, side = Math.Max(4, Math.Min(w, h) / Across);
        var dark = new DarkSide(side, bright);
        CircleArc arc = finding.Arc;
        double low = finding.Along.Min(), high = finding.Along.Max(), off = double.IsFinite(zero) ? zero : finding.Dark;
        double[] values = new double[side * side];
        for (int j = 0; j + side <= h; j += side)
        {
            for (int i = 0; i + side <= w; i += side)
            {
                double x = i + ((side - 1) / 2.0), y = j + ((side - 1) / 2.0), d = arc.Distance(x, y), t = arc.Along(x, y);
                if (d < from + (0.75 * side) || t < low || t > high)
                {
                    continue;
                }

                int n = 0;
                for (int p = 0; p < side * side; p++)
                {
                    float v = finding.Image[((j + (p / side)) * w) + i + (p % side)];
                    if (float.IsFinite(v))
                    {
                        values[n++] = v;
                    }
                }

                if (n >= 0.4 * side * side)
                {
                    // Stars do not move it, and whole numbers do not make it jump as they would a median.
                    (double mean, double sigma) = Robust.ClippedMeanAndSigma(values.AsSpan(0, n));
                    dark.cells.Add(new Cell(i / side, j / side, x, y, d, (t - low) / Math.Max(high - low, 1e-9), (mean - off) / bright,
                        Math.Max(sigma, 0.3) / Math.Sqrt(n) / bright));
                }
            }
        }

        dark.Profile();
        return dark;
    }

    /// <summary>Light at a distance from the edge: a straight line in the logarithm of the distance through the cells round it.</summary>
    public Measured At(double distance)
    {
        Cell[] near = [.. cells.Where(c => c.Distance > distance / 1.35 && c.Distance < distance * 1.35)];
        if (near.Length < 12 || !near.Any(c => c.Distance < distance) || !near.Any(c => c.Distance > distance))
        {
            return Measured.None("");
        }

        double Value(Func<Cell, bool> used)
        {
            double[] x = [.. near.Where(used).Select(c => Math.Log(c.Distance / distance))], y = [.. near.Where(used).Select(c => c.Light)];
            double[] weight = [.. x.Select(_ => 1.0)];
            (double value, double slope) = (0, 0);
            for (int turn = 0; turn < 10; turn++)
            {
                double s = weight.Sum(), sx = 0, sy = 0, sxx = 0, sxy = 0;
                for (int i = 0; i < x.Length; i++)
                {
                    (sx, sy) = (sx + (weight[i] * x[i]), sy + (weight[i] * y[i]));
                    (sxx, sxy) = (sxx + (weight[i] * x[i] * x[i]), sxy + (weight[i] * x[i] * y[i]));
                }

                double det = (s * sxx) - (sx * sx);
                slope = det > 1e-12 * s * sxx ? ((s * sxy) - (sx * sy)) / det : 0;
                value = (sy - (slope * sx)) / s;
                double[] left = [.. x.Select((v, i) => y[i] - value - (slope * v))];
                double reach = 6 * Math.Max(1.4826 * Robust.Median(left.Select(Math.Abs)), 1e-9);
                weight = [.. left.Select(v => Math.Pow(Math.Max(0, 1 - (v * v / (reach * reach))), 2) + 1e-6)];
            }

            return value;
        }

        double all = Value(_ => true);
        double[] without = [.. Enumerable.Range(0, Groups).Where(g => near.Any(c => c.Group == g) && near.Any(c => c.Group != g))
            .Select(g => Value(c => c.Group != g))];
        double mean = without.Length > 0 ? without.Average() : all, n = without.Length;
        double random = n > 1 ? Math.Sqrt((n - 1) / n * without.Sum(v => Math.Pow(v - mean, 2))) : near.Average(c => c.Noise) / Math.Sqrt(near.Length);
        return new Measured(all, random, "");
    }

    /// <summary>Light within a circle: that of the middle of a black patch.</summary>
    public Measured Within(double x, double y, double radius)
    {
        Cell[] inside = [.. cells.Where(c => Math.Pow(c.X - x, 2) + Math.Pow(c.Y - y, 2) < radius * radius)];
        if (inside.Length == 0)
        {
            return Measured.None("");
        }

        double value = inside.Average(c => c.Light);
        double scatter = inside.Length > 2 ? Math.Sqrt(inside.Sum(c => Math.Pow(c.Light - value, 2)) / (inside.Length - 1)) : 0;
        return new Measured(value, Math.Max(scatter, inside.Average(c => c.Noise)) / Math.Sqrt(inside.Length), "");
    }

    /// <summary>Patches that the distance from the edge and a slope over the frame do not explain, brightest first.</summary>
    public List<EdgeGhost> Ghosts()
    {
        var found = new List<EdgeGhost>();
        if (cells.Count < 60)
        {
            return found;
        }

        double[] excess = [.. cells.Select(c => c.Light - Expected(c.Distance))];

        // A slope along the edge belongs to the light outside, not to a patch.
        (double level, double slope) = RobustLine([.. cells.Select(c => c.Turn)], excess);
        excess = [.. excess.Select((e, i) => e - level - (slope * cells[i].Turn))];
        (_, double usual) = Robust.MedianAndSigma(excess);
        var lit = new Dictionary<(int, int), int>();
        for (int i = 0; i < cells.Count; i++)
        {
            if (excess[i] > Math.Max(Math.Max(LeastGhost, Uneven * Expected(cells[i].Distance)), Sticks * Math.Max(usual, cells[i].Noise)))
            {
                lit[(cells[i].Column, cells[i].Row)] = i;
            }
        }

        while (lit.Count > 0)
        {
            var todo = new Stack<(int X, int Y)>([lit.Keys.OrderBy(k => k.Item2).ThenBy(k => k.Item1).First()]);
            var group = new List<int>();
            while (todo.Count > 0)
            {
                (int x, int y) = todo.Pop();
                if (lit.Remove((x, y), out int at))
                {
                    group.Add(at);
                    for (int k = 0; k < 9; k++)
                    {
                        todo.Push((x + (k % 3) - 1, y + (k / 3) - 1));
                    }
                }
            }

            if (group.Count >= LeastCells && group.Count < MostShare * cells.Count)
            {
                double sum = group.Sum(i => excess[i]), mean = sum / group.Count;
                found.Add(new EdgeGhost(group.Sum(i => excess[i] * cells[i].X) / sum, group.Sum(i => excess[i] * cells[i].Y) / sum,
                    group.Average(i => cells[i].Distance), side * Math.Sqrt(group.Count), mean,
                    mean / Math.Max(usual, group.Average(i => cells[i].Noise)) * Math.Sqrt(group.Count)));
            }
        }

        return [.. found.OrderByDescending(g => g.Level * g.AreaPx * g.AreaPx).Take(MostGhosts)];
    }

    private static (double Level, double Slope) RobustLine(double[] x, double[] y)
    {
        // Medians of the three thirds (Tukey's resistant line).
        double[] order = [.. x.Order()];
        double a = order[order.Length / 3], b = order[2 * order.Length / 3];
        int[] left = [.. Enumerable.Range(0, x.Length).Where(i => x[i] <= a)], right = [.. Enumerable.Range(0, x.Length).Where(i => x[i] >= b)];
        double xl = Robust.Median(left.Select(i => x[i])), xr = Robust.Median(right.Select(i => x[i]));
        double slope = xr > xl ? (Robust.Median(right.Select(i => y[i])) - Robust.Median(left.Select(i => y[i]))) / (xr - xl) : 0;
        return (Robust.Median(y.Select((v, i) => v - (slope * x[i]))), slope);
    }

    private double Expected(double distance)
    {
        int n = Distance.Length;
        if (distance <= Distance[0])
        {
            return Light[0];
        }

        for (int i = 1; i < n; i++)
        {
            if (distance <= Distance[i])
            {
                double t = (distance - Distance[i - 1]) / (Distance[i] - Distance[i - 1]);
                return ((1 - t) * Light[i - 1]) + (t * Light[i]);
            }
        }

        return Light[n - 1];
    }

    private void Profile()
    {
        Cell[] sorted = [.. cells.OrderBy(c => c.Distance)];
        if (sorted.Length < 8)
        {
            return;
        }

        double near = sorted[0].Distance, far = sorted[^1].Distance, factor = Math.Pow(far / near, 1.0 / Rings);
        var (distance, light, bar) = (new List<double>(), new List<double>(), new List<double>());
        var ring = new List<Cell>();
        double next = near * factor;
        void Close()
        {
            if (ring.Count >= 4)
            {
                (double middle, double sigma) = Robust.MedianAndSigma([.. ring.Select(c => c.Light)]);
                distance.Add(ring.Average(c => c.Distance));
                light.Add(middle);
                bar.Add(1.2533 * Math.Max(sigma, ring.Average(c => c.Noise)) / Math.Sqrt(ring.Count));
                ring.Clear();
            }
        }

        foreach (Cell cell in sorted)
        {
            while (cell.Distance > next)
            {
                Close();
                next *= factor;
            }

            ring.Add(cell);
        }

        Close();
        (Distance, Light, Uncertainty) = ([.. distance], [.. light], [.. bar]);
    }

    private readonly record struct Cell(int Column, int Row, double X, double Y, double Distance, double Turn, double Light, double Noise)
    {
        public int Group => Math.Clamp((int)(Turn * Groups), 0, Groups - 1);
    }
}
