namespace StarAssay.Engine.Stars;

/// <summary>
/// Chooses the outer radius so that enough stars stand alone within it: three half-flux radii, less where the field is crowded.
/// </summary>
internal static class Crowding
{
    private const int MostSeeds = 2000;
    private const double EnoughShare = 0.3;
    private const int EnoughAlone = 60;
    private static readonly double[] Shares = [1, 0.8, 0.65, 0.55, 0.5];

    /// <summary>The radius.</summary>
    /// <param name="seeds">Stars.</param>
    /// <param name="grid">The same by place.</param>
    /// <param name="widest">What would be used if none were near, pixels.</param>
    /// <param name="core">Twice the usual second moment, px^2.</param>
    public static double Radius(Seed[] seeds, SeedGrid grid, double widest, double core)
    {
        int step = Math.Max(1, seeds.Length / MostSeeds), looked = (seeds.Length + step - 1) / step;
        double[] free = new double[looked];
        var near = new List<int>();
        for (int k = 0; k < looked; k++)
        {
            Seed own = seeds[k * step];
            grid.Near(own.X, own.Y, 4 * widest, near);
            free[k] = double.PositiveInfinity;
            foreach (int n in near)
            {
                if (n != k * step)
                {
                    free[k] = Math.Min(free[k], Free(own, seeds[n], core));
                }
            }
        }

        foreach (double share in Shares)
        {
            int alone = free.Count(f => f > share * widest);
            if (alone >= EnoughShare * looked || alone * step >= EnoughAlone || seeds.Length < 10)
            {
                return share == 1 ? widest : Math.Max(3, Math.Round(share * widest, 1));
            }
        }

        return Math.Max(3, Math.Round(Shares[^1] * widest, 1));
    }

    /// <summary>How far from a star the first pixel lies that belongs to another one; see <see cref="StarMeter"/>.</summary>
    private static double Free(in Seed own, in Seed other, double core)
    {
        double dx = other.X - own.X, dy = other.Y - own.Y, d = Math.Sqrt((dx * dx) + (dy * dy));
        double a = 1 - StarMeter.Reach(other.Height / own.Height), c = (d * d) + (core * a);
        if (Math.Abs(a) < 1e-9)
        {
            return c / (2 * d);
        }

        // core + (d - o)^2 = ratio (core + o^2) on the line between them.
        double root = (d * d) - (a * c);
        return root < 0 ? double.PositiveInfinity : Math.Max(0, (d - Math.Sqrt(root)) / a);
    }
}
