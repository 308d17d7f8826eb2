namespace StarAssay.Engine.Stars;

/// <summary>
/// Sizes of the stars nearest to a place: what optics and focus make of a star there, also where no smooth surface follows it.
/// </summary>
internal sealed class StarsAround
{
    private const int MostStars = 1000;
    private const int Nearest = 8;

    // The stars there must agree with each other before another can agree with them; knots of a galaxy do not.
    private const double Agreement = 0.3;
    private const double Alike = 0.45;

    private readonly double[] x;
    private readonly double[] y;
    private readonly double[] size;

    /// <summary>Notes those stars that can tell sizes, at most a thousand.</summary>
    public StarsAround(StarRecord[] stars)
    {
        int[] use = [.. Enumerable.Range(0, stars.Length).Where(i => SizeSurface.SaysSize(stars[i]) && stars[i].Sharpness > 0.12)];
        int step = Math.Max(1, use.Length / MostStars);
        use = [.. use.Where((_, k) => k % step == 0)];
        x = [.. use.Select(i => stars[i].X)];
        y = [.. use.Select(i => stars[i].Y)];
        size = [.. use.Select(i => SizeSurface.LogSize(stars[i]))];
    }

    /// <summary>Whether a star is as large as those nearest to it, which agree among themselves.</summary>
    public bool Knows(in StarRecord star)
    {
        Span<double> distance = stackalloc double[Nearest], near = stackalloc double[Nearest];
        distance.Fill(double.PositiveInfinity);
        int found = 0;
        for (int k = 0; k < x.Length; k++)
        {
            double dx = x[k] - star.X, dy = y[k] - star.Y, d = (dx * dx) + (dy * dy);
            if (d < 1 || d >= distance[Nearest - 1])
            {
                continue;
            }

            int at = Nearest - 1;
            for (; at > 0 && distance[at - 1] > d; at--)
            {
                (distance[at], near[at]) = (distance[at - 1], near[at - 1]);
            }

            (distance[at], near[at]) = (d, size[k]);
            found = Math.Min(Nearest, found + 1);
        }

        if (found < Nearest)
        {
            return false;
        }

        near.Sort();
        double middle = 0.5 * (near[(Nearest / 2) - 1] + near[Nearest / 2]), spread = 0.5 * (near[^2] - near[1]);
        return spread < Agreement && Math.Abs(SizeSurface.LogSize(star) - middle) < Alike;
    }
}
