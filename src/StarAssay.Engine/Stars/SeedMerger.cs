using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Decides which peaks are stars of their own. A fainter peak near a brighter one stays only when the smoothed light dips
/// clearly between the two; ripples of noise on a broad star or in a bright star's skirt do not.
/// </summary>
internal sealed class SeedMerger
{
    private const double DipNoise = 4;
    private const double UsualDip = 0.06;
    private const int Block = 128;

    private readonly Frame frame;
    private readonly BackgroundMesh mesh;
    private readonly RowDecoder decoder;
    private readonly double filteredNoise;
    private readonly double dipShare;
    private readonly float[] patch = new float[25];
    private readonly float[] taps = new float[5];

    public SeedMerger(Frame frame, BackgroundMesh mesh, double filterSigma, double filteredNoise, double dipShare = UsualDip)
    {
        this.frame = frame;
        this.mesh = mesh;
        this.filteredNoise = filteredNoise;
        this.dipShare = dipShare;
        decoder = new RowDecoder(frame.Pixels);
        double sum = 0;
        for (int i = 0; i < 5; i++)
        {
            sum += taps[i] = (float)Math.Exp(-0.5 * (i - 2) * (i - 2) / (filterSigma * filterSigma));
        }

        for (int i = 0; i < 5; i++)
        {
            taps[i] /= (float)sum;
        }
    }

    /// <summary>Keeps the seeds that stand alone, in their order.</summary>
    /// <param name="seeds">Peaks, row by row.</param>
    /// <param name="sigma">Usual standard deviation of a star in the frame, pixels.</param>
    /// <param name="context">Threads.</param>
    public Seed[] Merge(Seed[] seeds, double sigma, RunContext context)
    {
        // Looking for neighbors is most of the work and can be shared out; what becomes of them depends on what came before.
        int[]?[] fainter = Neighbors(seeds, sigma, context);
        bool[] dropped = new bool[seeds.Length];
        foreach (int a in Seed.BySignificance(seeds))
        {
            if (dropped[a] || fainter[a] is not int[] near)
            {
                continue;
            }

            foreach (int b in near)
            {
                if (!dropped[b] && !Dips(seeds[a], seeds[b]))
                {
                    dropped[b] = true;
                }
            }
        }

        var kept = new List<Seed>(seeds.Length);
        for (int i = 0; i < seeds.Length; i++)
        {
            if (!dropped[i])
            {
                kept.Add(seeds[i]);
            }
        }

        return [.. kept];
    }

    /// <summary>The fainter seeds in the skirt of each; null when there are none.</summary>
    private int[]?[] Neighbors(Seed[] seeds, double sigma, RunContext context)
    {
        var grid = new SeedGrid(seeds, frame.Width, frame.Height);
        int[]?[] fainter = new int[seeds.Length][];
        Sharing.For((seeds.Length + Block - 1) / Block, context, () => new List<int>(), (block, near) =>
        {
            for (int a = block * Block; a < Math.Min(seeds.Length, (block + 1) * Block); a++)
            {
                // How far this star's skirt reaches above the threshold, for a profile with strong wings.
                double reach = Math.Clamp(2.5 * sigma * Math.Pow(seeds[a].Significance / 5, 0.4), 4, 80);
                grid.Near(seeds[a].X, seeds[a].Y, reach, near);

                // It finds itself, too.
                if (near.Count > 1)
                {
                    near.RemoveAll(b => b == a || !IsFainter(seeds, b, a));
                    fainter[a] = near.Count > 0 ? [.. near] : null;
                }
            }
        });
        return fainter;
    }

    private static bool IsFainter(Seed[] seeds, int b, int a) =>
        seeds[b].Significance < seeds[a].Significance || (seeds[b].Significance == seeds[a].Significance && b > a);

    private bool Dips(Seed a, Seed b)
    {
        SkySample sky = mesh.At(b.X, b.Y);
        double perElectron = !double.IsNaN(frame.GainElectronsPerAdu) ? frame.GainElectronsPerAdu
            : sky.Level > 0 ? sky.Level / (sky.Noise * sky.Noise) : double.PositiveInfinity;
        double variance = (sky.Noise * sky.Noise) + (Math.Max(0, b.Height) / perElectron);
        double needed = Math.Max(DipNoise * filteredNoise * Math.Sqrt(variance), dipShare * b.Height);
        double dx = a.X - b.X, dy = a.Y - b.Y;
        int steps = (int)Math.Ceiling(Math.Max(Math.Abs(dx), Math.Abs(dy)));
        for (int k = 1; k < steps; k++)
        {
            double value = Smoothed(b.X + (int)Math.Round(k * dx / steps), b.Y + (int)Math.Round(k * dy / steps), (float)sky.Level) - sky.Level;
            if (b.Height - value > needed)
            {
                return true;
            }

            // Climbing well above the fainter peak without a dip: it sits on the brighter star's slope.
            if (value > b.Height + (2 * needed))
            {
                return false;
            }
        }

        return false;
    }

    private double Smoothed(int x, int y, float fill)
    {
        double sum = 0;
        for (int j = 0; j < 5; j++)
        {
            int row = Math.Clamp(y + j - 2, 0, frame.Height - 1);
            int from = Math.Clamp(x - 2, 0, Math.Max(0, frame.Width - 5));
            int count = Math.Min(5, frame.Width);
            Span<float> line = patch.AsSpan(5 * j, count);
            decoder.Decode(row, from, line);
            for (int i = 0; i < 5; i++)
            {
                float v = line[Math.Clamp(x - 2 + i - from, 0, count - 1)];
                sum += taps[j] * taps[i] * (float.IsFinite(v) ? v : fill);
            }
        }

        return sum;
    }
}

/// <summary>Seeds by place, for quick neighbor search.</summary>
internal sealed class SeedGrid
{
    private readonly Seed[] seeds;
    private readonly int cell;
    private readonly int columns;
    private readonly int rows;
    private readonly int[] start;
    private readonly int[] items;

    public SeedGrid(Seed[] seeds, int width, int height)
    {
        this.seeds = seeds;

        // About one seed a cell: then neither the cells nor the seeds in them take long to go through.
        cell = (int)Math.Clamp(Math.Sqrt((double)width * height / Math.Max(1, seeds.Length)), 16, 256);
        columns = (width / cell) + 1;
        rows = (height / cell) + 1;
        start = new int[(columns * rows) + 1];
        foreach (Seed s in seeds)
        {
            start[CellOf(s) + 1]++;
        }

        for (int i = 0; i < columns * rows; i++)
        {
            start[i + 1] += start[i];
        }

        items = new int[seeds.Length];
        int[] next = (int[])start.Clone();
        for (int i = 0; i < seeds.Length; i++)
        {
            items[next[CellOf(seeds[i])]++] = i;
        }
    }

    /// <summary>Lists the seeds within a distance, in a fixed order.</summary>
    public void Near(double x, double y, double reach, List<int> found)
    {
        found.Clear();
        int i0 = Math.Max(0, (int)((x - reach) / cell)), i1 = Math.Min(columns - 1, (int)((x + reach) / cell));
        int j0 = Math.Max(0, (int)((y - reach) / cell)), j1 = Math.Min(rows - 1, (int)((y + reach) / cell));
        for (int j = j0; j <= j1; j++)
        {
            for (int k = start[(j * columns) + i0]; k < start[(j * columns) + i1 + 1]; k++)
            {
                Seed s = seeds[items[k]];
                double dx = s.X - x, dy = s.Y - y;
                if ((dx * dx) + (dy * dy) <= reach * reach)
                {
                    found.Add(items[k]);
                }
            }
        }
    }

    private int CellOf(Seed s) => (s.Y / cell * columns) + (s.X / cell);
}
