namespace StarAssay.Engine.Stars;

/// <summary>Points of a plane in square cells, to find those near a place.</summary>
internal sealed class PointGrid
{
    private readonly double[] x;
    private readonly double[] y;
    private readonly double cell;
    private readonly Dictionary<(int, int), List<int>> cells = [];

    /// <summary>Sorts points into cells.</summary>
    /// <param name="x">Columns.</param>
    /// <param name="y">Rows.</param>
    /// <param name="which">Which of them count.</param>
    /// <param name="cell">Side of a cell: about the radius of the searches to come.</param>
    public PointGrid(double[] x, double[] y, int[] which, double cell)
    {
        this.x = x;
        this.y = y;
        this.cell = cell;
        foreach (int i in which)
        {
            (int, int) key = ((int)Math.Floor(x[i] / cell), (int)Math.Floor(y[i] / cell));
            if (!cells.TryGetValue(key, out List<int>? here))
            {
                cells[key] = here = [];
            }

            here.Add(i);
        }

        double width = which.Length == 0 ? 0 : which.Max(i => x[i]) - which.Min(i => x[i]);
        double height = which.Length == 0 ? 0 : which.Max(i => y[i]) - which.Min(i => y[i]);
        Count = which.Length;
        Density = which.Length / Math.Max(width * height, cell * cell);
    }

    /// <summary>How many points there are.</summary>
    public int Count { get; }

    /// <summary>Points for a unit of area.</summary>
    public double Density { get; }

    /// <summary>Points within a radius.</summary>
    public IEnumerable<int> Within(double px, double py, double radius)
    {
        int reach = (int)Math.Ceiling(radius / cell), cx = (int)Math.Floor(px / cell), cy = (int)Math.Floor(py / cell);
        for (int j = cy - reach; j <= cy + reach; j++)
        {
            for (int i = cx - reach; i <= cx + reach; i++)
            {
                if (cells.TryGetValue((i, j), out List<int>? here))
                {
                    foreach (int k in here)
                    {
                        if (Math.Pow(x[k] - px, 2) + Math.Pow(y[k] - py, 2) <= radius * radius)
                        {
                            yield return k;
                        }
                    }
                }
            }
        }
    }

    /// <summary>The nearest point within a radius, or -1.</summary>
    /// <param name="px">Column.</param>
    /// <param name="py">Row.</param>
    /// <param name="radius">Largest distance.</param>
    /// <param name="alone">False when there are others within it.</param>
    public int Nearest(double px, double py, double radius, out bool alone)
    {
        (int best, double least, int count) = (-1, double.PositiveInfinity, 0);
        foreach (int k in Within(px, py, radius))
        {
            count++;
            double d = Math.Pow(x[k] - px, 2) + Math.Pow(y[k] - py, 2);
            if (d < least || (d == least && k < best))
            {
                (best, least) = (k, d);
            }
        }

        alone = count == 1;
        return best;
    }

    /// <summary>The nearest points, nearest first.</summary>
    /// <param name="px">Column.</param>
    /// <param name="py">Row.</param>
    /// <param name="least">What is nearer than this is the place itself.</param>
    /// <param name="distance">Receives the squares of their distances; infinite where there are fewer.</param>
    /// <param name="near">Receives which points.</param>
    /// <returns>How many there are, at most as many as there is room for.</returns>
    public int Nearest(double px, double py, double least, Span<double> distance, Span<int> near)
    {
        distance.Fill(double.PositiveInfinity);
        int cx = (int)Math.Floor(px / cell), cy = (int)Math.Floor(py / cell), found = 0, seen = 0;
        for (int ring = 0; seen < Count && distance[^1] > Math.Pow((ring - 1) * cell, 2); ring++)
        {
            for (int j = cy - ring; j <= cy + ring; j++)
            {
                // Between the first and the last row of a ring of cells only its two ends.
                int step = Math.Abs(j - cy) == ring || ring == 0 ? 1 : 2 * ring;
                for (int i = cx - ring; i <= cx + ring; i += step)
                {
                    if (cells.TryGetValue((i, j), out List<int>? here))
                    {
                        seen += here.Count;
                        found += Sort(here, px, py, least, distance, near);
                    }
                }
            }
        }

        return Math.Min(found, near.Length);
    }

    /// <summary>Puts points among the nearest so far; returns how many came in.</summary>
    private int Sort(List<int> points, double px, double py, double least, Span<double> distance, Span<int> near)
    {
        int came = 0;
        foreach (int k in points)
        {
            double dx = x[k] - px, dy = y[k] - py, d = (dx * dx) + (dy * dy);
            if (d < least * least || d >= distance[^1])
            {
                continue;
            }

            int at = distance.Length - 1;
            for (; at > 0 && distance[at - 1] > d; at--)
            {
                (distance[at], near[at]) = (distance[at - 1], near[at - 1]);
            }

            (distance[at], near[at]) = (d, k);
            came++;
        }

        return came;
    }
}
