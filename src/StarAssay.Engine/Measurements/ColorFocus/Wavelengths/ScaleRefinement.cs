using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>From a first match to the scale: every line of the lists is looked for where the scale puts it, blends as blends, outward
/// from where it is known, until none is left.</summary>
internal sealed class ScaleRefinement
{
    private const double Least = 8; // light of a blend over its error, to count
    private readonly double[] height;
    private readonly double noise;
    private readonly LineShape shape;
    private readonly LampLine[] lines;
    private readonly int width;
    private readonly int most;

    public ScaleRefinement(double[] flux, IReadOnlyList<SpectrumPeak> peaks, LampLine[] lines, int most)
    {
        (height, noise) = SpectrumPeak.AboveFloor(flux, false);
        shape = LineShape.Of(height, peaks);
        this.lines = lines;
        this.most = most;
        width = flux.Length;
    }

    /// <summary>Width of a line, columns.</summary>
    public double LineWidth => shape.Width;

    /// <summary>The scale and the blends it rests on; null when too few are found.</summary>
    public (ScaleFit Fit, LineBlend[] Blends)? Run(LineMatch match, IReadOnlyList<SpectrumPeak> peaks)
    {
        double low = match.Pairs.Min(p => peaks[p.Peak].Column), high = match.Pairs.Max(p => peaks[p.Peak].Column);
        ColumnScale scale = match.Scale;
        ScaleFit? fit = null;
        LineBlend[] blends = [];
        double first = 0;
        double start = Math.Max(1, Math.Max(match.Rms, 0.4 * shape.Width));
        for (int turn = 0; turn < 7; turn++)
        {
            ScaleFit? known = fit;
            ColumnScale now = scale;
            double Search(double column) => known is null
                ? column >= low - 2 && column <= high + 2 ? start : double.PositiveInfinity
                : Math.Max(0.35 * shape.Width, (column >= low && column <= high ? 3 : 4) * known.Sigma(column) / Math.Abs(now.Dispersion(column)));
            LineBlend[] found = Measure(now, Search);
            if (found.Length < 4 || ScaleFit.Through([.. found.Select(b => b.Column)], [.. found.Select(b => b.Nm)], [.. found.Select(b => b.Sigma)], width,
                most) is not { } next)
            {
                return fit is null ? null : (fit, blends);
            }

            // Lines found farther out that spoil the fit were the wrong ones: stay with what held together.
            if (fit is not null && next.RmsColumns > Math.Max(0.15, 1.5 * first))
            {
                return (fit, blends);
            }

            first = fit is null ? next.RmsColumns : first;
            bool same = fit is not null && found.Length == blends.Length && next.Used.Count(u => u) == fit.Used.Count(u => u);
            (fit, blends, scale) = (next, found, next.Scale);
            low = found.Where((_, i) => next.Used[i]).Min(b => b.Column);
            high = found.Where((_, i) => next.Used[i]).Max(b => b.Column);
            if (same && turn > 2)
            {
                break;
            }
        }

        return (fit!, blends);
    }

    /// <summary>Columns at which the scale puts the lines within the frame.</summary>
    public (double Column, LampLine Line)[] Places(ColumnScale scale)
    {
        var places = new List<(double, LampLine)>();
        double[] nm = [.. Enumerable.Range(0, width).Select(x => scale.Nm(x))];
        foreach (LampLine line in lines)
        {
            for (int x = 0; x + 1 < width; x++)
            {
                if ((nm[x] - line.Nm) * (nm[x + 1] - line.Nm) <= 0 && nm[x] != nm[x + 1])
                {
                    places.Add((x + ((line.Nm - nm[x]) / (nm[x + 1] - nm[x])), line));
                    break;
                }
            }
        }

        return [.. places.OrderBy(p => p.Item1)];
    }

    /// <summary>Every blend that is bright enough, fitted with the others' light taken off.</summary>
    private LineBlend[] Measure(ColumnScale scale, Func<double, double> search)
    {
        (double Column, LampLine Line)[] places = Places(scale);
        var groups = new List<List<int>>();
        for (int i = 0; i < places.Length; i++)
        {
            if (groups.Count > 0 && places[i].Column - places[groups[^1][^1]].Column < 0.8 * shape.Width)
            {
                groups[^1].Add(i);
            }
            else
            {
                groups.Add([i]);
            }
        }

        var kept = new LineBlend?[groups.Count];
        var model = new double[width];
        for (int turn = 0; turn < 3; turn++)
        {
            // Bright ones first, so that their wings are off the faint ones.
            int[] order = [.. Enumerable.Range(0, groups.Count).OrderByDescending(g => kept[g]?.Strength.Sum() ?? Height(places, groups[g]))];
            foreach (int g in order)
            {
                double[] at = [.. groups[g].Select(i => places[i].Column)];
                double reach = search(at.Average());
                if (!(reach < 3 + (0.5 * shape.Width)))
                {
                    continue;
                }

                kept[g]?.AddTo(model, shape, -1);
                double[] own = [.. height.Zip(model, (h, m) => h - m)];
                double[] error = [.. model.Select(m => Math.Sqrt((noise * noise) + Math.Pow(0.02 * m, 2)))];
                kept[g] = LineBlend.Fit(own, error, shape, at, [.. groups[g].Select(i => places[i].Line)], reach);
                if (kept[g] is { } b && b.Light < Least)
                {
                    kept[g] = null;
                }

                kept[g]?.AddTo(model, shape, 1);
            }
        }

        return [.. kept.Where(b => b is not null && b.Value.Sigma < 0.6).Select(b => b!.Value)];
    }

    private double Height((double Column, LampLine Line)[] places, List<int> group) =>
        group.Max(i => height[(int)Math.Clamp(Math.Round(places[i].Column), 0, width - 1)]);
}
