using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.RelativeIllumination;

/// <summary>Finds shadows of dust in a flat: discs or rings darker than what surrounds them, the clearest first, each divided out before the next.</summary>
internal sealed class DustSearch
{
    // In blocks of each coarseness; with the next one twice as coarse all sizes are covered.
    private static readonly double[] Radii = [5, 5.75, 6.6, 7.6, 8.75];

    // Contrast over the scatter of contrasts of such discs over the whole flat, and the least share of the light worth telling.
    private const double Clear = 6, Faintest = 0.0007;

    // A frame holds few discs as wide as a sixth of its shorter side, and a shadow among them makes their scatter large; the fit decides there.
    private const double WideClear = 3, Wide = 1.0 / 6;

    // A shadow wider than this share of the frame's shorter side cannot be told from the fall of light.
    private const double Widest = 0.5;

    private const int MostTried = 300, MostFound = 100, MostInVain = 60;
    private const double Inner = 1.12, Outer = 1.55;
    private readonly List<EvenedFlat> levels;
    private readonly double hole;

    private DustSearch(List<EvenedFlat> levels, double hole) => (this.levels, this.hole) = (levels, hole);

    /// <summary>All shadows, clearest first; lengths in pixels.</summary>
    /// <param name="flat">Light over what is smooth.</param>
    /// <param name="obstruction">Central obstruction of the telescope, whose picture each shadow is.</param>
    /// <param name="least">Least radius that is looked for.</param>
    /// <param name="context">Threads.</param>
    public static List<DustShape> Find(EvenedFlat flat, double obstruction, double least, RunContext context)
    {
        var levels = new List<EvenedFlat> { flat };
        double most = Widest * Math.Min(flat.Columns, flat.Rows) * flat.Side / 2;
        while (Radii[0] * levels[^1].Side * 2 <= most && Math.Min(levels[^1].Columns, levels[^1].Rows) >= 48)
        {
            levels.Add(levels[^1].Coarser());
        }

        return new DustSearch(levels, obstruction).Run(least, most, context);
    }

    private List<DustShape> Run(double least, double most, RunContext context)
    {
        var waiting = new PriorityQueue<Candidate, (double, double, double)>();
        foreach (EvenedFlat level in levels)
        {
            // The fit may end a step of the radii above where it began.
            foreach (double radius in Radii.Where(r => r * level.Side <= most && 1.15 * r * level.Side >= least))
            {
                foreach (Candidate c in Peaks(level, radius, context))
                {
                    waiting.Enqueue(c, c.Order);
                }
            }
        }

        var found = new List<DustShape>();
        var failed = new List<Candidate>();
        for (int tried = 0, vain = 0; waiting.Count > 0 && tried < MostTried && vain < MostInVain && found.Count < MostFound;)
        {
            context.Cancel.ThrowIfCancellationRequested();
            Candidate one = waiting.Dequeue();
            if (failed.Any(f => f.Like(one)))
            {
                continue;
            }

            // What was found meanwhile is divided out.
            double now = Contrast(one.Level, one.X, one.Y, one.Radius) / one.Scatter;
            if (now < 0.85 * one.Clearness)
            {
                if (now > LeastClear(one.Level, one.Radius))
                {
                    Candidate less = one with { Clearness = now };
                    waiting.Enqueue(less, less.Order);
                }

                continue;
            }

            tried++;
            vain++;
            DustShape? shape = DustShape.Fit(Finer(one.Level, one.Radius), one.PixelX, one.PixelY, one.PixelRadius, hole);
            if (shape is null || shape.Radius > 1.15 * most)
            {
                failed.Add(one);
                continue;
            }

            if (found.Any(f => f.Like(shape)))
            {
                // Left over from one whose edge is not quite as fitted.
                failed.Add(one);
                continue;
            }

            vain = 0;
            found.Add(shape);
            levels.ForEach(shape.DivideOut);
        }

        return found;
    }

    /// <summary>The level in which a shadow is some twenty blocks wide or more, where there is one.</summary>
    private EvenedFlat Finer(EvenedFlat level, double radius)
    {
        int at = levels.IndexOf(level);
        return at > 0 && radius < 12 ? levels[at - 1] : level;
    }

    private List<Candidate> Peaks(EvenedFlat level, double radius, RunContext context)
    {
        int step = 2, across = (level.Columns + step - 1) / step, down = (level.Rows + step - 1) / step;
        var ring = new RingSums(level, radius, hole, Inner, Outer);
        double[] contrast = new double[across * down];
        Parallel.For(0, down, context.Parallel, j =>
        {
            for (int i = 0; i < across; i++)
            {
                contrast[(j * across) + i] = ring.Contrast(i * step, j * step);
            }
        });
        double[] known = [.. contrast.Where(double.IsFinite)];
        var peaks = new List<Candidate>();
        if (known.Length < 100)
        {
            return peaks;
        }

        double scatter = Math.Max(Robust.MedianAndSigma(known).Sigma, 1e-6), least = LeastClear(level, radius);
        for (int j = 0; j < down; j++)
        {
            for (int i = 0; i < across; i++)
            {
                double c = contrast[(j * across) + i];
                if (c > Faintest && c > least * scatter && Highest(contrast, across, down, i, j))
                {
                    peaks.Add(new Candidate(level, i * step, j * step, radius, c / scatter, scatter));
                }
            }
        }

        return peaks;
    }

    private double LeastClear(EvenedFlat level, double radius) =>
        2 * radius * level.Side > Wide * Math.Min(levels[0].Columns, levels[0].Rows) * levels[0].Side ? WideClear : Clear;

    private static bool Highest(double[] v, int across, int down, int i, int j)
    {
        double here = v[(j * across) + i];
        for (int y = Math.Max(0, j - 1); y <= Math.Min(down - 1, j + 1); y++)
        {
            for (int x = Math.Max(0, i - 1); x <= Math.Min(across - 1, i + 1); x++)
            {
                if (v[(y * across) + x] > here)
                {
                    return false;
                }
            }
        }

        return true;
    }

    private double Contrast(EvenedFlat level, double x, double y, double radius) =>
        RingSums.Slow(level, (int)x, (int)y, radius, hole, Inner, Outer);

    private sealed record Candidate(EvenedFlat Level, double X, double Y, double Radius, double Clearness, double Scatter)
    {
        public double PixelX => Level.Pixel(X);

        public double PixelY => Level.Pixel(Y);

        public double PixelRadius => Radius * Level.Side;

        /// <summary>What a shadow takes against the noise of as many pixels: clearest first. The scatter of contrasts would not do: a wide shadow makes it
        /// large for its own size, and pieces of its edge came first.</summary>
        public (double Clear, double Y, double X) Order => (-Clearness * Scatter * PixelRadius, PixelY, PixelX);

        public bool Like(Candidate other) => Math.Abs(Math.Log(PixelRadius / other.PixelRadius)) < 0.3
            && Math.Sqrt(Math.Pow(PixelX - other.PixelX, 2) + Math.Pow(PixelY - other.PixelY, 2)) < 0.5 * Math.Min(PixelRadius, other.PixelRadius);
    }

    /// <summary>Mean light in a ring against that around it, at any block, by running sums along the rows.</summary>
    private sealed class RingSums
    {
        private readonly EvenedFlat flat;
        private readonly double[] sum;
        private readonly int[] count;
        private readonly (int Dy, int Half)[] whole, open, inner, outer;

        public RingSums(EvenedFlat flat, double radius, double hole, double inside, double outside)
        {
            this.flat = flat;
            whole = Disc(radius * 0.92);
            open = Disc(hole * radius * 1.1);
            inner = Disc(radius * inside);
            outer = Disc(radius * outside);
            int n = flat.Columns + 1;
            sum = new double[n * flat.Rows];
            count = new int[n * flat.Rows];
            for (int j = 0; j < flat.Rows; j++)
            {
                for (int i = 0; i < flat.Columns; i++)
                {
                    float v = flat.Value[(j * flat.Columns) + i];
                    bool good = float.IsFinite(v);
                    sum[(j * n) + i + 1] = sum[(j * n) + i] + (good ? v : 0);
                    count[(j * n) + i + 1] = count[(j * n) + i] + (good ? 1 : 0);
                }
            }
        }

        public static double Slow(EvenedFlat flat, int x, int y, double radius, double hole, double inside, double outside)
        {
            (double Sum, int Count) Of((int Dy, int Half)[] disc)
            {
                (double sum, int count) = (0, 0);
                foreach ((int dy, int half) in disc)
                {
                    for (int i = Math.Max(0, x - half); i <= Math.Min(flat.Columns - 1, x + half); i++)
                    {
                        int j = y + dy;
                        if (j >= 0 && j < flat.Rows && float.IsFinite(flat.Value[(j * flat.Columns) + i]))
                        {
                            sum += flat.Value[(j * flat.Columns) + i];
                            count++;
                        }
                    }
                }

                return (sum, count);
            }

            return Ratio(Of(Disc(radius * 0.92)), Of(Disc(hole * radius * 1.1)), Of(Disc(radius * inside)), Of(Disc(radius * outside)), radius);
        }

        public double Contrast(int x, int y) => Ratio(Sum(whole, x, y), Sum(open, x, y), Sum(inner, x, y), Sum(outer, x, y), outer.Length / 3.1);

        private static double Ratio((double Sum, int Count) whole, (double Sum, int Count) open, (double Sum, int Count) inner,
            (double Sum, int Count) outer, double radius)
        {
            int dark = whole.Count - open.Count, around = outer.Count - inner.Count;
            double area = Math.PI * radius * radius;

            // Half of a shadow and of what surrounds it must lie within the frame.
            return dark < 0.4 * area || around < 0.6 * area ? double.NaN
                : 1 - ((whole.Sum - open.Sum) / dark / ((outer.Sum - inner.Sum) / around));
        }

        private static (int Dy, int Half)[] Disc(double radius)
        {
            int r = (int)radius;
            return radius < 0.5 ? [] : [.. Enumerable.Range(-r, (2 * r) + 1).Select(dy => (dy, (int)Math.Sqrt((radius * radius) - (dy * dy))))];
        }

        private (double Sum, int Count) Sum((int Dy, int Half)[] disc, int x, int y)
        {
            (double total, int number) = (0, 0);
            int n = flat.Columns + 1;
            foreach ((int dy, int half) in disc)
            {
                int j = y + dy;
                if (j >= 0 && j < flat.Rows)
                {
                    int from = (j * n) + Math.Max(0, x - half), to = (j * n) + Math.Min(flat.Columns, x + half + 1);
                    total += sum[to] - sum[from];
                    number += count[to] - count[from];
                }
            }

            return (total, number);
        }
    }
}
