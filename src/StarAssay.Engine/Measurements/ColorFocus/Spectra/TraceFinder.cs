using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Where the spectrum runs: block by block, then a polynomial.</summary>
internal sealed class TraceFinder
{
    private const double FoundAt = 7; // signal to noise of a block's profile at which it counts
    private readonly SpectrumImage image;
    private readonly int first;
    private readonly int end;

    public TraceFinder(SpectrumImage image, int first, int end)
    {
        this.image = image;
        this.first = first;
        this.end = end;
    }

    public double[] Polynomial { get; private set; } = [];

    public double Scatter { get; private set; }

    /// <summary>Half the range that holds 68 % of the light, the widest tenth of the blocks aside, pixels.</summary>
    public double WideHalfWidth { get; private set; }

    public List<Note> Notes { get; } = [];

    private string Name => image.Frame.Name.Length > 0 ? image.Frame.Name : "The frame";

    public double At(double column) => RobustPolynomial.At(Polynomial, Scaled(column));

    public void Find(double wantedRow)
    {
        int width = end - first;
        int blocks = Math.Clamp(width / 24, 8, 64);
        var profiles = new BlockProfiles(image, first, end, blocks);
        List<TracePeak> found = [.. Enumerable.Range(0, blocks).Select(b => profiles.Best(b)).Where(f => f.Snr > FoundAt)];

        if (found.Count == 0)
        {
            throw new CannotMeasureException("color-focus.no-star",
                $"{Name} holds no spectrum: no row stands out from the background anywhere. Check the pointing, expose longer, or take the right frame.",
                    image.Frame.Name);
        }

        double total = found.Sum(f => f.Flux);
        var bright = found.OrderByDescending(f => f.Flux).ToList();
        double concentrated = bright.Take(2).Sum(f => f.Flux) / total;
        if (found.Count <= Math.Max(2, blocks / 12) || (concentrated > 0.9 && blocks >= 16))
        {
            throw new CannotMeasureException("color-focus.undispersed",
                $"{Name} is no spectrum: its light stands in {found.Count} of {blocks} stretches along the dispersion, as of a star without grating or " +
                    "prism. Put the disperser in, or name the other axis.", image.Frame.Name);
        }

        if (double.IsFinite(wantedRow))
        {
            found = SelectNear(profiles, wantedRow);
        }

        Follow(found, profiles);
        Line(found, wantedRow);
        RefuseTwo(found, profiles, wantedRow);
        Refine(profiles);
    }

    private double Scaled(double column) => (2 * (column - first) / (end - 1 - first)) - 1;

    /// <summary>The strongest peak of each block within reach of the wanted row.</summary>
    private List<TracePeak> SelectNear(BlockProfiles profiles, double wantedRow)
    {
        int reach = Math.Max(12, image.Height / 12);
        List<TracePeak> found = [.. Enumerable.Range(0, profiles.Count)
            .Select(b => profiles.Best(b, y => Math.Abs(y - wantedRow) <= reach)).Where(f => f.Snr > FoundAt)];
        if (found.Count < 4)
        {
            throw new CannotMeasureException("color-focus.no-star",
                $"{Name} holds no spectrum near row {wantedRow:0}. Give the row of the wanted spectrum at mid frame, or none for the brightest.",
                    image.Frame.Name);
        }

        return found;
    }

    /// <summary>Two spectra of like brightness take turns as the brightest: from the clearest block outward, the nearest peak is
    /// preferred to the brightest as long as it is bright itself.</summary>
    private static void Follow(List<TracePeak> found, BlockProfiles profiles)
    {
        int start = Enumerable.Range(0, found.Count).MaxBy(i => found[i].Snr);
        foreach (int step in new[] { 1, -1 })
        {
            double row = found[start].Row;
            for (int i = start + step; i >= 0 && i < found.Count; i += step)
            {
                double center = row, reach = Math.Max(8, found[i].Box);
                TracePeak near = profiles.Best(found[i].Block, y => Math.Abs(y - center) <= reach);
                if (near.Snr > FoundAt && near.Flux > 0.3 * found[i].Flux)
                {
                    found[i] = near;
                }

                row = found[i].Row;
            }
        }
    }

    /// <summary>A straight line through the peaks, which half of them may miss.</summary>
    private void Line(List<TracePeak> found, double wantedRow)
    {
        // Theil-Sen line: half of the blocks may sit on cosmic rays, ghosts or another star.
        var slopes = new List<double>();
        for (int i = 0; i < found.Count; i++)
        {
            for (int j = i + 1; j < found.Count; j++)
            {
                slopes.Add((found[j].Row - found[i].Row) / (Scaled(found[j].Column) - Scaled(found[i].Column)));
            }
        }

        double slope = slopes.Count > 0 ? Robust.Median(slopes) : 0;
        double offset = Robust.Median(found.Select(f => f.Row - (slope * Scaled(f.Column))));
        Polynomial = [offset, slope];
        Scatter = 1.4826 * Robust.Median(found.Select(f => Math.Abs(f.Row - At(f.Column))));
        double limit = Math.Max(6, Math.Max(4 * Scatter, 0.6 * Robust.Median(found.Select(f => (double)f.Box))));
        int on = found.Count(f => Math.Abs(f.Row - At(f.Column)) <= limit);
        if (on < 0.5 * found.Count || Scatter > image.Height / 8.0)
        {
            throw new CannotMeasureException("color-focus.no-trace",
                $"{Name}: bright places lie scattered over the frame and form no line, so there is no spectrum to follow. Check that the frame is a " +
                    "spectrum and which axis its wavelengths run along.", image.Frame.Name);
        }

        double before = At(first), after = At(end - 1);
        if (!double.IsFinite(wantedRow) && (before < 0 || before > image.Height - 1) && (after < 0 || after > image.Height - 1))
        {
            throw OffChip();
        }
    }

    private CannotMeasureException OffChip() => new("color-focus.off-chip",
        $"The spectrum in {Name} leaves the frame: followed across it, it runs from row {(int)Math.Round(At(first))} at column {first} to row " +
            $"{(int)Math.Round(At(end - 1))} at column {end - 1}, and only rows 2 to {image.Height - 3} can be used. Center it, turn the camera until it " +
            "runs along one axis of the sensor, or say the right axis if wavelengths run along the other.", image.Frame.Name);

    /// <summary>Looks for a second spectrum beside the trace: refuses one as bright, notes a fainter one.</summary>
    private void RefuseTwo(List<TracePeak> found, BlockProfiles profiles, double wantedRow)
    {
        double box = Robust.Median(found.Select(f => (double)f.Box));
        var others = new List<(double Offset, double Ratio)>();
        double own = Math.Max(8, 1.6 * box);
        foreach (TracePeak f in found.Where(f => f.Snr > 15))
        {
            double y0 = At(f.Column);
            TracePeak other = profiles.Best(f.Block, y => Math.Abs(y - y0) > own);
            if (other.Snr > FoundAt)
            {
                others.Add((other.Row - y0, other.Flux / f.Flux));
            }
        }

        if (others.Count < Math.Max(6, 0.5 * found.Count))
        {
            return;
        }

        double offset = Robust.Median(others.Select(o => o.Offset));
        List<(double Offset, double Ratio)> same = [.. others.Where(o => Math.Abs(o.Offset - offset) < Math.Max(3, 0.5 * box))];
        if (same.Count < Math.Max(6, 0.5 * found.Count))
        {
            return;
        }

        double ratio = Robust.Median(same.Select(o => o.Ratio));
        double mid = At((first + end) / 2.0);
        if (ratio > 0.25 && !double.IsFinite(wantedRow))
        {
            throw new CannotMeasureException("color-focus.two-traces",
                $"{Name} holds two spectra, at rows {mid:0} and {mid + offset:0} (the second with {100 * ratio:0} % of the light). Say which one by its row.",
                    image.Frame.Name);
        }

        if (ratio < 0.03)
        {
            return; // wings of the spectrum itself, or a ghost too faint to matter
        }

        Notes.Add(ColorFocusNotes.SecondTrace.Say(
            $"A second spectrum lies near row {mid + offset:0} with {100 * ratio:0} % of the light of the measured one at row {mid:0}; it was kept out of " +
                "the background.", image.Frame.Name));
        SecondOffset = offset;
        SecondHalf = Math.Max(6, box);
    }

    /// <summary>Rows from the trace to a second spectrum; NaN when there is none.</summary>
    public double SecondOffset { get; private set; } = double.NaN;

    public double SecondHalf { get; private set; }

    /// <summary>The trace as a polynomial through the centers of the blocks' profiles.</summary>
    private void Refine(BlockProfiles profiles)
    {
        int blocks = profiles.Count;
        double half = 8;
        for (int turn = 0; turn < 3; turn++)
        {
            var xs = new List<double>();
            var ys = new List<double>();
            var ws = new List<double>();
            var widths = new List<double>();
            for (int b = 0; b < blocks; b++)
            {
                double x = profiles.Column(b);
                double y0 = At(x);
                double reach = turn == 0 ? Math.Max(half, 20) : Math.Max(6, 3 * half);
                int lo = (int)Math.Max(0, Math.Floor(y0 - reach)), hi = (int)Math.Min(image.Height - 1, Math.Ceiling(y0 + reach));
                if (hi - lo < 4)
                {
                    continue;
                }

                (double center, double spread, double snr) = profiles.Moments(b, lo, hi);
                if (snr > FoundAt)
                {
                    xs.Add(Scaled(x));
                    ys.Add(center);
                    ws.Add(Math.Min(snr, 100) / Math.Max(1, spread));
                    widths.Add(spread);
                }
            }

            if (xs.Count < 4 && (At(0.5 * (first + end)) < 8 || At(0.5 * (first + end)) > image.Height - 9))
            {
                throw OffChip();
            }

            if (xs.Count < 4)
            {
                throw new CannotMeasureException("color-focus.too-faint",
                    $"The spectrum in {Name} stands out in {xs.Count} of {blocks} stretches only. Expose longer or choose a brighter star.", image.Frame.Name);
            }

            int degree = xs.Count >= 12 ? 3 : xs.Count >= 6 ? 2 : 1;
            Polynomial = RobustPolynomial.Fit([.. xs], [.. ys], [.. ws], degree, out double scatter);
            Scatter = scatter;
            double[] sorted = [.. widths.Order()];
            WideHalfWidth = sorted[(int)(0.9 * (sorted.Length - 1))];
            half = WideHalfWidth;
        }

        int off = 0;
        for (int b = 0; b < blocks; b++)
        {
            double y = At(profiles.Column(b));
            off += y < 2 || y > image.Height - 3 ? 1 : 0;
        }

        if (off > blocks / 8)
        {
            throw OffChip();
        }
    }
}
