using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Finds where the sky has structure that the mesh is too coarse for (galaxies, nebulae, a comet's coma, the unresolved core of a
/// cluster) and measures it there on cells of some star widths, so that stars stand on what lies behind them.
/// </summary>
internal static class StructuredSky
{
    // A cell differs from what its neighbors' cubic says by this much of the noise, or scatters by so much more than a quiet one.
    private const double Bend = 0.7;
    private const double Excess = 1.4;
    private const int FewestCells = 2;

    // Side of the fine cells over the width of a star: a single one in a cell leaves most of it free.
    private const double CellPerWidth = 4.5;
    private const double CellPerUsual = 3;
    private const double SmallestCell = 12;
    private const double WorthIt = 0.75;
    private const double FirstCell = 20;
    private const double QuietQuantile = 0.2;

    // A cell's darkest parts: with noise alone that share of its pixels lies so many deviations below the level.
    private const double DarkShare = 0.05;
    private const float DarkDeviations = 1.645f;

    /// <summary>A sky with structure.</summary>
    /// <param name="Cells">Fine cells over the whole frame, filled from the coarse mesh where that is good enough; null where no stars told how fine.</param>
    /// <param name="Correlation">See <see cref="PixelNoise"/>.</param>
    /// <param name="Width">Width of the compact ones among the lone objects, pixels.</param>
    public sealed record Found(SkyCells? Cells, double Correlation, double Width);

    /// <summary>Measures the sky afresh where it needs it.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="cells">Its sky on the coarse mesh.</param>
    /// <param name="mesh">The same, smoothed.</param>
    /// <param name="peaks">All peaks, row by row.</param>
    /// <param name="limits">What they stand out by from a sky without structure.</param>
    /// <param name="context">Threads.</param>
    /// <returns>What there is; null where the coarse mesh is good enough everywhere.</returns>
    public static Found? Measure(Frame frame, SkyCells cells, BackgroundMesh mesh, Seed[] peaks, LonePeaks.Limits limits, RunContext context)
    {
        bool[]? rough = Rough(cells, mesh, frame.GainElectronsPerAdu);
        Seed[] lone = LonePeaks.Of(frame, mesh, peaks, width: 0, limits, context);
        rough = rough.Count(r => r) >= FewestCells ? rough : SkyThreads.In(frame, cells, peaks, lone, context);
        if (rough is null)
        {
            return null;
        }

        // Of knots and rims only what stands out to all sides tells the stars' width.
        double most = WorthIt * cells.Width / cells.Columns, correlation = PixelNoise.Of(frame, cells, context).Correlation;
        double[] diameters = Blobs.Diameters(frame, mesh, lone, context);
        if (Side(diameters) > most)
        {
            // Before a bright sky their outlines run out into it: once more above the sky of small cells, which only small stars leave free.
            mesh = BackgroundEstimator.Smooth(Fine(frame, cells, mesh, rough, FirstCell, correlation, context), context);
            var finder = new SeedFinder(frame, mesh, new MatchedFilter(limits.FilterSigma), limits.Threshold, context, 1);
            peaks = LonePeaks.Of(frame, mesh, finder.Find(context), width: 0, limits, context);
            diameters = Blobs.Diameters(frame, mesh, peaks, context);
            most = FirstCell;
        }

        return Side(diameters) > most ? new Found(null, correlation, 0)
            : new Found(Fine(frame, cells, mesh, Widened(rough, cells.Columns, cells.Rows), Side(diameters), correlation, context), correlation,
                diameters[diameters.Length / 5]);
    }

    /// <summary>The levels of some cells measured once more, of what the frame's mask leaves of them; the noise stays.</summary>
    /// <param name="frame">The frame, masked.</param>
    /// <param name="fine">Its cells.</param>
    /// <param name="which">Those to be measured; they take their neighbors' level where too little is left.</param>
    /// <param name="context">Threads.</param>
    public static SkyCells Again(Frame frame, SkyCells fine, bool[] which, RunContext context)
    {
        float[] levels = (float[])fine.Level.Clone();
        var reader = new CellReader(frame, (frame.Width / fine.Columns) + 1);
        int room = reader.Room((frame.Height / fine.Rows) + 1, 1);
        Sharing.For(fine.Rows, context, () => new float[room], (j, samples) =>
        {
            int y0 = (int)((long)j * fine.Height / fine.Rows), y1 = (int)((long)(j + 1) * fine.Height / fine.Rows);
            for (int i = 0; i < fine.Columns; i++)
            {
                int at = (j * fine.Columns) + i, x0 = (int)((long)i * fine.Width / fine.Columns), x1 = (int)((long)(i + 1) * fine.Width / fine.Columns);
                if (which[at])
                {
                    int count = reader.Decode(new CellReader.Cell(x0, x1, y0, y1, 1), samples, out _), kept = Compact(samples.AsSpan(0, count));
                    levels[at] = kept >= BackgroundEstimator.FewestSamples && kept * 4 >= count
                        ? BackgroundEstimator.Robust(samples.AsSpan(0, kept), float.NaN, float.NaN).Level : float.NaN;
                }
            }
        });
        if (Array.TrueForAll(levels, float.IsNaN))
        {
            return fine;
        }

        BackgroundEstimator.FillMissing(levels, (float[])fine.Noise.Clone(), fine.Columns, fine.Rows, frame.Name);
        return fine with { Level = levels };
    }

    /// <summary>Side of the fine cells. The compact objects may be hits; then the usual ones are the stars.</summary>
    private static double Side(double[] diameters) => diameters.Length == 0 ? double.PositiveInfinity
        : Math.Max(SmallestCell, Math.Max(CellPerWidth * diameters[diameters.Length / 5], CellPerUsual * diameters[diameters.Length / 2]));

    private static SkyCells Fine(Frame frame, SkyCells cells, BackgroundMesh mesh, bool[] rough, double side, double correlation, RunContext context)
    {
        int columns = Math.Max(1, (int)Math.Round(cells.Width / side)), rows = Math.Max(1, (int)Math.Round(cells.Height / side));
        var fine = new SkyCells(cells.Width, cells.Height, columns, rows, new float[columns * rows], new float[columns * rows],
            (double)cells.Width * cells.Height / ((double)columns * rows), NoiseIsOfPixels: true)
        {
            Floor = new float[columns * rows],
        };
        var reader = new CellReader(frame, (frame.Width / columns) + 1);
        int room = reader.Room((frame.Height / rows) + 1, 1);
        Sharing.For(rows, context, () => (Samples: new float[room], Differences: new float[room]), (j, space) =>
        {
            int y0 = (int)((long)j * cells.Height / rows), y1 = (int)((long)(j + 1) * cells.Height / rows);
            for (int i = 0; i < columns; i++)
            {
                int x0 = (int)((long)i * cells.Width / columns), x1 = (int)((long)(i + 1) * cells.Width / columns);
                SkySample sky = mesh.At(0.5 * (x0 + x1 - 1), 0.5 * (y0 + y1 - 1));
                (float level, float noise, float dark) = ((float)sky.Level, (float)sky.Noise, float.PositiveInfinity);
                int above = Math.Min(cells.Rows - 1, (y0 + y1) / 2 * cells.Rows / cells.Height),
                    over = Math.Min(cells.Columns - 1, (x0 + x1) / 2 * cells.Columns / cells.Width);
                int count = reader.Decode(new CellReader.Cell(x0, x1, y0, y1, 1), space.Samples, out bool missing);
                int kept = missing ? Compact(space.Samples.AsSpan(0, count)) : count;
                if (kept >= BackgroundEstimator.FewestSamples && kept * 4 >= count)
                {
                    Span<float> samples = space.Samples.AsSpan(0, kept);
                    samples.CopyTo(space.Differences);
                    if (rough[(above * cells.Columns) + over])
                    {
                        (float fineLevel, float fineNoise) = BackgroundEstimator.Robust(samples, float.NaN, float.NaN);

                        // Clipped all over, there is nothing to measure.
                        (level, noise) = float.IsFinite(fineLevel) && fineNoise > 0 ? (fineLevel, fineNoise) : (level, noise);
                    }

                    // Threads and rims make pixels scatter as no noise does; from pixel to pixel they hardly change.
                    float own = missing ? float.NaN : (float)correlation * PixelNoise.Of(space.Differences.AsSpan(0, kept), x1 - x0);
                    noise = own > 0 ? MathF.Min(own, noise) : noise;
                    dark = Rank.Select(samples, (int)(DarkShare * samples.Length)) + (DarkDeviations * noise);
                }

                int at = (j * columns) + i;
                (fine.Level[at], fine.Noise[at], fine.Floor![at]) = (level, noise, MathF.Min(level, dark));
            }
        });
        return fine;
    }

    /// <summary>Cells whose level the cubic through their neighbors misses, or that scatter more than their level's photons allow.</summary>
    private static bool[] Rough(SkyCells cells, BackgroundMesh mesh, double gain)
    {
        int columns = cells.Columns, rows = cells.Rows;
        float[] noises = new float[columns * rows], levels = new float[columns * rows];
        for (int j = 0, k = 0; j < rows; j++)
        {
            for (int i = 0; i < columns; i++, k++)
            {
                (noises[k], levels[k]) = (mesh.Noise(i, j), mesh.Level(i, j));
            }
        }

        float[] work = (float[])noises.Clone();
        float quiet = Rank.Select<float>(work, (int)(QuietQuantile * (work.Length - 1)));
        int calm = 0;
        for (int k = 0; k < noises.Length; k++)
        {
            work[calm] = levels[k];
            calm += noises[k] <= quiet ? 1 : 0;
        }

        double dark = Rank.Median(work.AsSpan(0, calm));
        bool[] rough = new bool[columns * rows];
        for (int k = 0; k < rough.Length; k++)
        {
            double more = levels[k] - dark, allowed = double.IsNaN(gain)
                ? quiet * quiet * Math.Clamp(dark > 0 ? levels[k] / dark : 1, 1, 4)
                : (quiet * quiet) + (Math.Max(0, more) / gain);
            rough[k] = noises[k] * noises[k] > Excess * Excess * allowed
                || Math.Abs(Missed(levels, k % columns, columns, k, 1)) > Bend * noises[k]
                || Math.Abs(Missed(levels, k / columns, rows, k, columns)) > Bend * noises[k];
        }

        return rough;
    }

    /// <summary>Level less the cubic through two cells on either side; 0 at the rim.</summary>
    private static double Missed(float[] levels, int at, int count, int k, int step) => at < 2 || at >= count - 2 ? 0
        : levels[k] - (((4 * (levels[k - step] + levels[k + step])) - levels[k - (2 * step)] - levels[k + (2 * step)]) / 6);

    private static bool[] Widened(bool[] rough, int columns, int rows)
    {
        bool[] wide = new bool[rough.Length];
        for (int k = 0; k < rough.Length; k++)
        {
            for (int b = Math.Max(0, (k / columns) - 1); b <= Math.Min(rows - 1, (k / columns) + 1); b++)
            {
                for (int a = Math.Max(0, (k % columns) - 1); a <= Math.Min(columns - 1, (k % columns) + 1); a++)
                {
                    wide[k] |= rough[(b * columns) + a];
                }
            }
        }

        return wide;
    }

    private static int Compact(Span<float> samples)
    {
        int kept = 0;
        foreach (float value in samples)
        {
            samples[kept] = value;
            kept += float.IsFinite(value) ? 1 : 0;
        }

        return kept;
    }
}
