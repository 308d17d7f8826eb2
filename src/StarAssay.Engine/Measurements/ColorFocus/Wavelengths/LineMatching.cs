using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>A way of giving peaks to lines.</summary>
/// <param name="Scale">Wavelengths that follow.</param>
/// <param name="Pairs">Which peak is which line.</param>
/// <param name="Rms">Misfit, columns.</param>
/// <param name="Score">The higher the better.</param>
internal sealed record LineMatch(ColumnScale Scale, IReadOnlyList<(int Peak, int Line)> Pairs, double Rms, double Score);

/// <summary>Finds which peak is which line.</summary>
/// <remarks>Pairs of peaks are tried as pairs of lines; each trial is judged by how many other peaks fall on lines, and the best
/// are refined with growing reach and degree.</remarks>
internal sealed class LineMatching(IReadOnlyList<SpectrumPeak> peaks, double[] lines, int width, WavelengthRequest request)
{
    /// <summary>The best match, or none.</summary>
    public LineMatch? Best(RunContext context)
    {
        int[] directions = request.Direction == 0 ? [1, -1] : [Math.Sign(request.Direction)];
        return directions.SelectMany(direction => Search(direction, context)).OrderByDescending(t => t.Score).FirstOrDefault();
    }

    /// <summary>Tries pairs of strong peaks as pairs of lines, and refines the most promising.</summary>
    private List<LineMatch> Search(int direction, RunContext context)
    {
        SpectrumPeak[] head = [.. peaks.Take(18).OrderBy(p => p.Column)];
        var seeds = new List<(double Score, double Slope, double X0, double Nm0)>();
        for (int i = 0; i < head.Length; i++)
        {
            context.Cancel.ThrowIfCancellationRequested();
            for (int j = i + 1; j < head.Length; j++)
            {
                double dx = head[j].Column - head[i].Column;
                if (dx < 0.02 * width || dx > 0.55 * width)
                {
                    continue;
                }

                for (int a = 0; a < lines.Length; a++)
                {
                    for (int b = 0; b < lines.Length; b++)
                    {
                        double slope = (lines[b] - lines[a]) / dx;
                        if (slope * direction < request.MinDispersion || slope * direction > request.MaxDispersion)
                        {
                            continue;
                        }

                        // Near the pair the scale is nearly straight, prism or not.
                        double x0 = 0.5 * (head[i].Column + head[j].Column), nm0 = 0.5 * (lines[a] + lines[b]);
                        double score = Score(head, x0, nm0, slope, Math.Max(0.7 * dx, 0.12 * width));
                        if (score > 2)
                        {
                            seeds.Add((score, slope, x0, nm0));
                        }
                    }
                }
            }
        }

        var trials = new List<LineMatch>();
        foreach ((double _, double slope, double x0, double nm0) in seeds.OrderByDescending(s => s.Score).Take(300))
        {
            double half = 0.5 * (width - 1);
            if (Grow(new ColumnScale([nm0 + (slope * (half - x0)), slope * half], width), x0, direction) is { } t)
            {
                trials.Add(t);
            }
        }

        return trials;
    }

    /// <summary>How well a straight scale through one point puts the strong peaks within its reach on lines.</summary>
    private double Score(SpectrumPeak[] head, double x0, double nm0, double slope, double reach)
    {
        double score = 0;
        foreach ((double x, double _) in head)
        {
            if (Math.Abs(x - x0) <= reach)
            {
                double miss = Math.Abs(Nearest(nm0 + (slope * (x - x0))) / slope);
                double tolerance = 2 + (0.01 * Math.Abs(x - x0));
                score += miss < tolerance ? 1 - (0.5 * miss / tolerance) : -0.4;
            }
        }

        return score;
    }

    /// <summary>Refines a first scale by the lines it reaches, outward; null when it does not hold together.</summary>
    private LineMatch? Grow(ColumnScale scale, double x0, int direction)
    {
        // Start round the seed and let the solved stretch grow outward, the degree with the number of lines.
        double reach = 0.15 * width;
        List<(int Peak, int Line)> pairs = [];
        for (int turn = 0; turn < 14; turn++)
        {
            double tolerance = turn < 11 ? 3.0 : request.Absorption ? 3.0 : 1.8;
            pairs = Match(scale, x0, reach, tolerance);
            if (pairs.Count < 3)
            {
                return null;
            }

            int degree = Math.Min(request.MaxDegree, pairs.Count >= 9 ? 4 : pairs.Count >= 6 ? 3 : pairs.Count >= 4 ? 2 : 1);
            if (turn < 4)
            {
                degree = Math.Min(degree, 2);
            }

            scale = ColumnScale.Fit(pairs.Select(p => peaks[p.Peak].Column), pairs.Select(p => lines[p.Line]), width, degree);
            reach = Math.Min(width, reach * 1.35);
        }

        // Monotonic, and within the rough dispersion (with a quarter to spare), all over the stretch with lines.
        double lo = pairs.Min(p => peaks[p.Peak].Column), hi = pairs.Max(p => peaks[p.Peak].Column);
        double margin = 0.1 * (hi - lo);
        for (int k = 0; k <= 20; k++)
        {
            double x = Math.Clamp(lo - margin + ((hi - lo + (2 * margin)) * k / 20), 0, width - 1);
            double d = direction * scale.Dispersion(x);
            if (d < 0.75 * request.MinDispersion || d > 1.33 * request.MaxDispersion)
            {
                return null;
            }
        }

        double sum = pairs.Sum(p => Math.Pow((scale.Nm(peaks[p.Peak].Column) - lines[p.Line]) / scale.Dispersion(peaks[p.Peak].Column), 2));
        int free = pairs.Count - scale.Coefficients.Length;
        double rms = Math.Sqrt(sum / Math.Max(1, free));
        // Strong peaks without a line count against a trial more than weak ones.
        double explained = 0, total = 0;
        var matched = pairs.Select(p => p.Peak).ToHashSet();
        for (int i = 0; i < peaks.Count; i++)
        {
            double w = Math.Sqrt(peaks[i].Strength);
            total += w;
            explained += matched.Contains(i) ? w : 0;
        }

        double score = free * (1 - Math.Min(0.9, rms / 2)) * explained / total;
        return new LineMatch(scale, pairs, rms, score);
    }

    /// <summary>The nearest peak of every line within the reach of <paramref name="x0"/>.</summary>
    private List<(int Peak, int Line)> Match(ColumnScale scale, double x0, double reach, double tolerance)
    {
        var taken = new Dictionary<int, (int Peak, double Miss)>();
        for (int i = 0; i < peaks.Count; i++)
        {
            double x = peaks[i].Column;
            if (Math.Abs(x - x0) > reach)
            {
                continue;
            }

            double nm = scale.Nm(x);
            int k = Array.BinarySearch(lines, nm);
            k = k >= 0 ? k : ~k;
            int line = k >= lines.Length || (k > 0 && nm - lines[k - 1] < lines[k] - nm) ? k - 1 : k;
            double miss = Math.Abs((nm - lines[line]) / scale.Dispersion(x));
            if (miss < tolerance && (!taken.TryGetValue(line, out (int Peak, double Miss) old) || miss < old.Miss))
            {
                taken[line] = (i, miss);
            }
        }

        return [.. taken.Select(t => (t.Value.Peak, t.Key))];
    }

    /// <summary>Distance to the nearest line, nm.</summary>
    private double Nearest(double nm)
    {
        int k = Array.BinarySearch(lines, nm);
        if (k >= 0)
        {
            return 0;
        }

        k = ~k;
        double above = k < lines.Length ? lines[k] - nm : double.MaxValue, below = k > 0 ? nm - lines[k - 1] : double.MaxValue;
        return Math.Min(above, below);
    }
}
