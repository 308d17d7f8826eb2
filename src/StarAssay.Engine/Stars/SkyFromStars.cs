using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Takes the light of the stars' skirts out of the measured sky level.
/// </summary>
/// <remarks>
/// A cell's level is a robust mean: pixels well above the noise do not count, but the faint skirts that lie below it do, and
/// raise the level by a few hundredths of the noise: enough to shift half-flux radii by percents. What a pixel with star light
/// t (in units of the noise) adds to such a mean is phi(t) = E[psi(n + t)] / E[psi'(n)], n normal, psi Tukey's biweight; the sum
/// over a Moffat profile of center intensity a is pi alpha^2 J(a), J(a) = integral of phi(a (1 + u)^-beta) du.
/// </remarks>
internal static class SkyFromStars
{
    private const int PhiSteps = 200;
    private const double PhiLargest = 10;
    private const int Levels = 40;
    private const int LevelBlock = 5;
    private const int SeedBlock = 512;
    private static readonly double[] Phi = MakePhi();

    /// <summary>Lowers the cells' levels; the cells are changed in place.</summary>
    /// <param name="cells">The sky.</param>
    /// <param name="seeds">The stars.</param>
    /// <param name="alpha">Width of the usual Moffat profile, pixels.</param>
    /// <param name="beta">Its exponent.</param>
    /// <param name="filterPeak">Height of a seed over its star's center intensity.</param>
    /// <param name="context">Threads.</param>
    public static void TakeOut(SkyCells cells, Seed[] seeds, double alpha, double beta, double filterPeak, RunContext context)
    {
        // J on a logarithmic scale of a from 1/10 to 10^7.
        double[] j = new double[Levels];
        Sharing.For(Levels / LevelBlock, context, block =>
        {
            for (int i = block * LevelBlock; i < (block + 1) * LevelBlock; i++)
            {
                j[i] = Sum(Math.Pow(10, -1 + (8.0 * i / (Levels - 1))), beta);
            }
        });

        double cellWidth = (double)cells.Width / cells.Columns, cellHeight = (double)cells.Height / cells.Rows, area = cellWidth * cellHeight;
        var spots = new (double Half, double Density)[seeds.Length];
        Sharing.For((seeds.Length + SeedBlock - 1) / SeedBlock, context, block =>
        {
            for (int i = block * SeedBlock; i < Math.Min(seeds.Length, (block + 1) * SeedBlock); i++)
            {
                int ci = Math.Min(cells.Columns - 1, (int)(seeds[i].X / cellWidth)), cj = Math.Min(cells.Rows - 1, (int)(seeds[i].Y / cellHeight));
                float noise = cells.Noise[(cj * cells.Columns) + ci];
                spots[i] = seeds[i].Diameter > 0 ? Disc(seeds[i], noise) : Spot(seeds[i].Height / filterPeak, noise, alpha, beta, j);
            }
        });

        // In their order: sums of single precision depend on it.
        float[] take = new float[cells.Level.Length];
        for (int i = 0; i < seeds.Length; i++)
        {
            (double half, double density) = spots[i];
            if (!(density > 0))
            {
                continue;
            }

            Seed seed = seeds[i];
            for (int b = (int)Math.Max(0, (seed.Y - half) / cellHeight); b <= Math.Min(cells.Rows - 1, (int)((seed.Y + half) / cellHeight)); b++)
            {
                double high = Math.Min(seed.Y + half, (b + 1) * cellHeight) - Math.Max(seed.Y - half, b * cellHeight);
                for (int c = (int)Math.Max(0, (seed.X - half) / cellWidth); c <= Math.Min(cells.Columns - 1, (int)((seed.X + half) / cellWidth)); c++)
                {
                    double wide = Math.Min(seed.X + half, (c + 1) * cellWidth) - Math.Max(seed.X - half, c * cellWidth);
                    take[(b * cells.Columns) + c] += (float)(density * Math.Max(0, high) * Math.Max(0, wide) / area);
                }
            }
        }

        for (int i = 0; i < take.Length; i++)
        {
            // More than half the noise is no skirt: such a cell is full of stars and its level a guess anyway.
            cells.Level[i] -= MathF.Min(take[i], 0.5f * cells.Noise[i]);
        }
    }

    /// <summary>The square that a star's light is spread over, and its density there; none without noise.</summary>
    private static (double Half, double Density) Spot(double peak, double noise, double alpha, double beta, double[] j)
    {
        if (!(noise > 0))
        {
            return (0, 0);
        }

        double a = peak / noise, at = Math.Clamp((Math.Log10(a) + 1) * (Levels - 1) / 8, 0, Levels - 1.001);
        int k = (int)at;
        double light = Math.PI * alpha * alpha * (j[k] + ((at - k) * (j[k + 1] - j[k]))) * noise;

        // Most of what counts lies where the profile crosses the noise.
        double half = alpha * Math.Sqrt(Math.Max(0.5, Math.Pow(Math.Max(1, a), 1 / beta) - 1));
        return (half, light / (4 * half * half));
    }

    /// <summary>A disc is as bright as its peak throughout.</summary>
    private static (double Half, double Density) Disc(in Seed seed, double noise) =>
        noise > 0 ? (0.5 * Math.Sqrt(Math.PI / 4) * seed.Diameter, PhiAt(seed.Height / noise) * noise) : (0, 0);

    /// <summary>J(a): u runs to where the profile has fallen to a hundredth of the noise; beyond, phi(t) = t, summed exactly.</summary>
    private static double Sum(double a, double beta)
    {
        double last = Math.Max(4, Math.Pow(a / 0.01, 1 / beta)) - 1;

        // Substituting u = (1 + last)^s - 1 spaces the steps evenly in the logarithm; from step to step both factors grow alike.
        const int Steps = 200;
        double ln = Math.Log(1 + last), step = ln / Steps, sum = 0;
        double grow = Math.Exp(step), fall = Math.Exp(-beta * step), width = Math.Exp(0.5 * step) * step, light = a * Math.Exp(-0.5 * beta * step);
        for (int i = 0; i < Steps; i++, width *= grow, light *= fall)
        {
            sum += PhiAt(light) * width;
        }

        return sum + (a * Math.Pow(1 + last, 1 - beta) / (beta - 1));
    }

    private static double PhiAt(double t)
    {
        double at = t * PhiSteps / PhiLargest;
        int i = (int)at;
        return i >= PhiSteps ? 0 : Phi[i] + ((at - i) * (Phi[i + 1] - Phi[i]));
    }

    private static double[] MakePhi()
    {
        const double C = BackgroundEstimator.SoftReach;
        double slope = 0;
        double[] phi = new double[PhiSteps + 1];
        for (double n = -8; n <= 8; n += 0.02)
        {
            double weight = Math.Exp(-0.5 * n * n), u = n / C;
            slope += Math.Abs(u) < 1 ? weight * (1 - (u * u)) * (1 - (5 * u * u)) : 0;
            for (int i = 0; i <= PhiSteps; i++)
            {
                double t = n + (i * PhiLargest / PhiSteps), q = t / C;
                phi[i] += Math.Abs(q) < 1 ? weight * t * (1 - (q * q)) * (1 - (q * q)) : 0;
            }
        }

        return [.. phi.Select(v => v / slope)];
    }
}
