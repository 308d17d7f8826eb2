namespace StarAssay.Engine.Measurements.Reflections;

/// <summary>First circles: every edge point votes for the middles that lie along its gradient, at every radius.</summary>
/// <remarks>
/// Votes along the gradient, in layers of radius, as by D. H. Ballard, Pattern Recognition 13, 111 (1981). One circle is taken at a time, its
/// points are taken away, and the rest votes again, so that a strong outline does not hide a faint one inside it.
/// </remarks>
internal static class CircleSearch
{
    private const double LeastRadius = 5, Layer = 1.05, Cell = 0.035, LeastVotes = 0.28, LeastCovered = 0.55, LeastWhole = 0.4;

    private const int Tries = 50;

    /// <summary>Outlines in the coarse picture, in the order in which they were found, and whether each is bright inside.</summary>
    public static List<(Outline Outline, bool BrightInside)> Find(PhotoEdges edges, int most, CancellationToken cancel)
    {
        var left = new List<(double X, double Y, double Nx, double Ny)>(edges.Points);
        var found = new List<(Outline, bool)>();
        while (found.Count < most && left.Count >= 20)
        {
            cancel.ThrowIfCancellationRequested();
            bool taken = false;
            foreach ((double x, double y, double r, bool bright) in Candidates(edges, left))
            {
                var start = new Outline(x, y, r, 0, 0);
                if (Refine(edges, left, start, bright) is not { } outline)
                {
                    continue;
                }

                double reach = Math.Max(2, 0.012 * outline.R);
                int before = left.Count;
                left.RemoveAll(p => Math.Abs(outline.Of(p.X, p.Y).Distance) < reach && Agrees(outline, p, bright, 0.8));
                taken = left.Count < before;
                if (taken)
                {
                    found.Add((outline, bright));
                    break;
                }
            }

            if (!taken)
            {
                break;
            }
        }

        return found;
    }

    private static List<(double X, double Y, double R, bool Bright)> Candidates(PhotoEdges edges, List<(double X, double Y, double Nx, double Ny)> points)
    {
        int w = edges.Columns, h = edges.Rows;
        var best = new List<(double Score, double X, double Y, double R, bool Bright)>();
        for (double r = LeastRadius; r < 0.62 * Math.Max(w, h); r *= Layer)
        {
            double cell = Math.Max(1.5, Cell * r);
            int columns = (int)(w / cell) + 2, rows = (int)(h / cell) + 2;
            foreach (bool bright in new[] { true, false })
            {
                int[] votes = new int[columns * rows];
                double way = bright ? r : -r;
                foreach ((double px, double py, double nx, double ny) in points)
                {
                    double x = px + (way * nx), y = py + (way * ny);
                    if (x >= 0 && y >= 0 && x < w && y < h)
                    {
                        votes[((int)(y / cell) * columns) + (int)(x / cell)]++;
                    }
                }

                // Windows of two by two cells; of those that overlap, the fullest.
                double whole = 2 * Math.PI * r * 0.9 / edges.Thinned;
                for (int j = 0; j < rows - 1; j++)
                {
                    for (int i = 0; i < columns - 1; i++)
                    {
                        int p = (j * columns) + i, sum = votes[p] + votes[p + 1] + votes[p + columns] + votes[p + columns + 1];
                        double share = sum / whole;
                        if (share > LeastVotes)
                        {
                            best.Add((Math.Min(share, 1.2) * (1 + (0.1 * Math.Log(r / LeastRadius))), (i + 1) * cell, (j + 1) * cell, r, bright));
                        }
                    }
                }
            }
        }

        // The highest first, and none that lies beside one before it.
        var kept = new List<(double X, double Y, double R, bool Bright)>();
        foreach ((_, double x, double y, double r, bool bright) in best.OrderByDescending(b => b.Score))
        {
            double near = Math.Max(3, 0.1 * r);
            if (kept.All(k => k.Bright != bright || Math.Abs(k.X - x) > near || Math.Abs(k.Y - y) > near || Math.Abs(k.R - r) > near))
            {
                kept.Add((x, y, r, bright));
                if (kept.Count >= Tries)
                {
                    break;
                }
            }
        }

        return kept;
    }

    private static Outline? Refine(PhotoEdges edges, List<(double X, double Y, double Nx, double Ny)> points, Outline start, bool bright)
    {
        Outline outline = start;
        for (int lap = 0; lap < 7; lap++)
        {
            double reach = lap < 2 ? Math.Max(2.5, 0.09 * outline.R) : lap < 4 ? Math.Max(2, 0.04 * outline.R) : Math.Max(1.5, 0.015 * outline.R);
            Outline at = outline;
            var near = points.Where(p => Math.Abs(at.Of(p.X, p.Y).Distance) < reach && Agrees(at, p, bright, lap < 2 ? 0.8 : 0.9))
                .Select(p => (Point: p, at.Of(p.X, p.Y).Turn)).OrderBy(p => p.Turn).ToArray();
            if (near.Length < 16)
            {
                return null;
            }

            (outline, _, _, double rms) = at.Fit([.. near.Select(p => p.Point.X)], [.. near.Select(p => p.Point.Y)], lap == 0, 0.1);
            if (!(outline.R > 0.5 * start.R && outline.R < 2 * start.R) || Math.Abs(outline.X - start.X) > 0.5 * start.R
                || Math.Abs(outline.Y - start.Y) > 0.5 * start.R || outline.G > 0.62 || (lap == 6 && rms > Math.Max(0.8, 0.012 * outline.R)))
            {
                return null;
            }
        }

        (double covered, double inside) = Covered(edges, points, outline, bright);
        return covered >= LeastCovered * inside && covered >= LeastWhole ? outline : null;
    }

    // Shares of the outline at which a point agrees, and which lie in the picture.
    private static (double Covered, double Inside) Covered(PhotoEdges edges, List<(double X, double Y, double Nx, double Ny)> points, Outline outline,
        bool bright)
    {
        int sectors = Math.Clamp((int)(2 * Math.PI * outline.R / 3 / edges.Thinned), 16, 72);
        bool[] has = new bool[sectors];
        double reach = Math.Max(1.5, 0.012 * outline.R);
        foreach (var p in points)
        {
            (double distance, double turn) = outline.Of(p.X, p.Y);
            if (Math.Abs(distance) < reach && Agrees(outline, p, bright, 0.9))
            {
                has[(int)Math.Floor((turn + Math.PI) / (2 * Math.PI) * sectors * 0.999999)] = true;
            }
        }

        int inside = 0;
        for (int k = 0; k < sectors; k++)
        {
            double turn = ((k + 0.5) / sectors * 2 * Math.PI) - Math.PI, far = outline.At(turn).Radius;
            double x = outline.X + (far * Math.Cos(turn)), y = outline.Y + (far * Math.Sin(turn));
            inside += x > 1 && y > 1 && x < edges.Columns - 2 && y < edges.Rows - 2 ? 1 : 0;
        }

        return ((double)has.Count(b => b) / sectors, (double)inside / sectors);
    }

    // Whether the bright side lies where it should, and the gradient along the normal.
    private static bool Agrees(Outline outline, (double X, double Y, double Nx, double Ny) p, bool bright, double least)
    {
        double turn = Math.Atan2(p.Y - outline.Y, p.X - outline.X);
        (double radius, double slope) = outline.At(turn);

        // The normal leans from the radius by minus the slope over the radius.
        double normal = turn - Math.Atan2(slope, radius), along = (p.Nx * Math.Cos(normal)) + (p.Ny * Math.Sin(normal));
        return (bright ? -along : along) > least;
    }
}
