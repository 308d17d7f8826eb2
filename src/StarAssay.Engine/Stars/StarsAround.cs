namespace StarAssay.Engine.Stars;

/// <summary>
/// Sizes of the stars nearest to a place: what optics and focus make of a star there, also where no smooth surface follows it.
/// </summary>
internal sealed class StarsAround
{
    private const int MostStars = 500;
    private const int Nearest = 12;
    private const int Dropped = 2;

    // The stars there must agree with each other before another can agree with them; knots of a galaxy do not.
    private const double Agreement = 0.3;
    private const double Alike = 0.45;

    // Nearer than a pixel is the star itself.
    private const double Itself = 1;
    private const int InCell = 3;

    private readonly double[] x;
    private readonly double[] y;
    private readonly double[] size;
    private readonly PointGrid grid;

    /// <summary>Notes those stars that can tell sizes, at most five hundred.</summary>
    public StarsAround(StarRecord[] stars)
    {
        int[] use = [.. Enumerable.Range(0, stars.Length).Where(i => SizeSurface.SaysSize(stars[i]) && stars[i].Sharpness > 0.12)];
        int step = Math.Max(1, use.Length / MostStars);
        use = [.. use.Where((_, k) => k % step == 0)];
        x = [.. use.Select(i => stars[i].X)];
        y = [.. use.Select(i => stars[i].Y)];
        size = [.. use.Select(i => SizeSurface.LogSize(stars[i]))];

        // With some stars in each cell the nearest dozen lies in few of them.
        double cell = Math.Max(1, Math.Sqrt((x.DefaultIfEmpty().Max() + 1) * (y.DefaultIfEmpty().Max() + 1) * InCell / Math.Max(1, x.Length)));
        grid = new PointGrid(x, y, [.. Enumerable.Range(0, x.Length)], cell);
    }

    /// <summary>Whether a star is as large as those nearest to it lead one to expect, by a plane through their sizes from which they do not
    /// scatter much themselves.</summary>
    public bool Knows(in StarRecord star)
    {
        if (x.Length < Nearest)
        {
            return false;
        }

        Span<double> distance = stackalloc double[Nearest];
        Span<int> near = stackalloc int[Nearest];
        if (grid.Nearest(star.X, star.Y, Itself, distance, near) < Nearest)
        {
            return false;
        }

        // The plane once through all, then without those farthest from it.
        Span<double> rest = stackalloc double[Nearest], ordered = stackalloc double[Nearest];
        double limit = double.PositiveInfinity, expected = 0, scatter = 0;
        for (int round = 0; round <= Dropped; round++)
        {
            (double value, double slopeX, double slopeY) = Plane(star, near, rest, limit);
            double squares = 0;
            int kept = 0;
            for (int k = 0; k < Nearest; k++)
            {
                double off = size[near[k]] - value - (slopeX * (x[near[k]] - star.X)) - (slopeY * (y[near[k]] - star.Y));
                bool inside = round == 0 || Math.Abs(rest[k]) <= limit;
                (squares, kept) = inside ? (squares + (off * off), kept + 1) : (squares, kept);
                rest[k] = off;
                ordered[k] = Math.Abs(off);
            }

            ordered.Sort();
            (limit, expected, scatter) = (ordered[Nearest - 1 - Dropped], value, Math.Sqrt(squares / Math.Max(1, kept - 3)));
        }

        return scatter < Agreement && Math.Abs(SizeSurface.LogSize(star) - expected) < Alike;
    }

    /// <summary>Size at the star and its slopes, by least squares over those neighbors whose last distance from the plane is within a limit.</summary>
    private (double Value, double SlopeX, double SlopeY) Plane(in StarRecord star, ReadOnlySpan<int> near, ReadOnlySpan<double> rest, double limit)
    {
        double n = 0, sx = 0, sy = 0, sz = 0;
        for (int k = 0; k < near.Length; k++)
        {
            if (Math.Abs(rest[k]) <= limit)
            {
                (n, sx, sy, sz) = (n + 1, sx + x[near[k]], sy + y[near[k]], sz + size[near[k]]);
            }
        }

        (sx, sy, sz) = (sx / n, sy / n, sz / n);
        double xx = 0, xy = 0, yy = 0, xz = 0, yz = 0;
        for (int k = 0; k < near.Length; k++)
        {
            if (Math.Abs(rest[k]) <= limit)
            {
                double dx = x[near[k]] - sx, dy = y[near[k]] - sy, dz = size[near[k]] - sz;
                (xx, xy, yy, xz, yz) = (xx + (dx * dx), xy + (dx * dy), yy + (dy * dy), xz + (dx * dz), yz + (dy * dz));
            }
        }

        double det = (xx * yy) - (xy * xy);
        if (!(det > 1e-6 * xx * yy))
        {
            return (sz, 0, 0);
        }

        double slopeX = ((xz * yy) - (yz * xy)) / det, slopeY = ((yz * xx) - (xz * xy)) / det;
        return (sz + (slopeX * (star.X - sx)) + (slopeY * (star.Y - sy)), slopeX, slopeY);
    }
}
