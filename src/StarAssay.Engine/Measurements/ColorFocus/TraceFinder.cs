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
        int h = image.Height;
        var found = new List<(double X, double Y, double Snr, double Flux, int Box, int Block)>();
        var profiles = new double[blocks][];
        var noise = new double[blocks];
        for (int b = 0; b < blocks; b++)
        {
            int x0 = first + (b * width / blocks), x1 = first + ((b + 1) * width / blocks);
            profiles[b] = BlockProfile(x0, x1, out noise[b]);
        }

        foreach (int b in Enumerable.Range(0, blocks))
        {
            (int y, int box, double snr, double flux) = Best(profiles[b], noise[b], -1, 0);
            if (snr > FoundAt)
            {
                double x = first + ((b + 0.5) * width / blocks);
                found.Add((x, y, snr, flux, box, b));
            }
        }

        if (found.Count == 0)
        {
            throw new CannotMeasureException("color-focus.no-star",
                $"{Name} holds no spectrum: no row stands out from the background anywhere. Check the pointing, expose longer, or take the right frame.", image.Frame.Name);
        }

        double total = found.Sum(f => f.Flux);
        var bright = found.OrderByDescending(f => f.Flux).ToList();
        double concentrated = bright.Take(2).Sum(f => f.Flux) / total;
        if (found.Count <= Math.Max(2, blocks / 12) || (concentrated > 0.9 && blocks >= 16))
        {
            throw new CannotMeasureException("color-focus.undispersed",
                $"{Name} is no spectrum: its light stands in {found.Count} of {blocks} stretches along the dispersion, as of a star without grating or prism. Put the disperser in, or name the other axis.", image.Frame.Name);
        }

        if (double.IsFinite(wantedRow))
        {
            SelectNear(found, profiles, noise, wantedRow, width, blocks);
        }

        Follow(found, profiles, noise);
        Line(found, wantedRow);
        RefuseTwo(found, profiles, noise, wantedRow);
        Refine(profiles, noise, width, blocks);
    }

    private static (int Row, int Box, double Snr, double Flux) Best(double[] profile, double sigma, double avoid, double avoidHalf)
    {
        int h = profile.Length;
        var sum = new double[h + 1];
        for (int y = 0; y < h; y++)
        {
            bool skip = avoidHalf > 0 && Math.Abs(y - avoid) <= avoidHalf;
            sum[y + 1] = sum[y] + (skip ? 0 : profile[y]);
        }

        (int Row, int Box, double Snr, double Flux) best = (-1, 0, 0, 0);
        foreach (int box in new[] { 3, 5, 9, 15, 25, 41, 61 })
        {
            if (box > h / 2)
            {
                break;
            }

            for (int y = 0; y + box <= h; y++)
            {
                double flux = sum[y + box] - sum[y];
                double snr = flux / (sigma * Math.Sqrt(box));
                if (snr > best.Snr)
                {
                    best = (y + (box / 2), box, snr, flux);
                }
            }
        }

        return best;
    }

    private double Scaled(double column) => (2 * (column - first) / (end - 1 - first)) - 1;

    private double[] BlockProfile(int x0, int x1, out double sigma)
    {
        int h = image.Height;
        var profile = new double[h];
        Span<double> row = stackalloc double[Math.Min(x1 - x0, 512)];
        int step = Math.Max(1, (x1 - x0) / row.Length);
        for (int y = 0; y < h; y++)
        {
            int n = 0;
            for (int x = x0; x < x1 && n < row.Length; x += step)
            {
                float v = image.Pixels[(y * image.Width) + x];
                if (float.IsFinite(v))
                {
                    row[n++] = v;
                }
            }

            profile[y] = n > 0 ? Robust.MedianInPlace(row[..n]) : double.NaN;
        }

        // Background: a line through the lower half of the values, whatever its slope along the slit.
        double[] finite = [.. profile.Where(double.IsFinite)];
        double level = Robust.Median(finite);
        double[] differences = new double[Math.Max(finite.Length - 1, 1)];
        for (int i = 0; i + 1 < finite.Length; i++)
        {
            differences[i] = finite[i + 1] - finite[i];
        }

        sigma = Math.Max(1.4826 * Robust.Median(differences.Select(Math.Abs)) / Math.Sqrt(2), 1e-6);
        double low = Robust.Median(finite.Where(v => v <= level));
        double floor = finite.Length > 0 ? (level - low > 3 * sigma ? low : level) : 0;
        for (int y = 0; y < h; y++)
        {
            profile[y] = double.IsFinite(profile[y]) ? profile[y] - floor : 0;
        }

        return profile;
    }

    private void SelectNear(List<(double X, double Y, double Snr, double Flux, int Box, int Block)> found, double[][] profiles, double[] noise, double wantedRow, int width, int blocks)
    {
        // Replace each block's peak by the strongest one within reach of the wanted row.
        int reach = Math.Max(12, image.Height / 12);
        found.Clear();
        for (int b = 0; b < blocks; b++)
        {
            double[] cut = [.. profiles[b].Select((v, y) => Math.Abs(y - wantedRow) <= reach ? v : 0)];
            (int y, int box, double snr, double flux) = Best(cut, noise[b], -1, 0);
            if (snr > FoundAt)
            {
                found.Add((first + ((b + 0.5) * width / blocks), y, snr, flux, box, b));
            }
        }

        if (found.Count < 4)
        {
            throw new CannotMeasureException("color-focus.no-star",
                $"{Name} holds no spectrum near row {wantedRow:0}. Give the row of the wanted spectrum at mid frame, or none for the brightest.", image.Frame.Name);
        }
    }

    /// <summary>Two spectra of like brightness take turns as the brightest: from the clearest block outward, the nearest peak is
    /// preferred to the brightest as long as it is bright itself.</summary>
    private static void Follow(List<(double X, double Y, double Snr, double Flux, int Box, int Block)> found, double[][] profiles, double[] noise)
    {
        int start = Enumerable.Range(0, found.Count).MaxBy(i => found[i].Snr);
        foreach (int step in new[] { 1, -1 })
        {
            double row = found[start].Y;
            for (int i = start + step; i >= 0 && i < found.Count; i += step)
            {
                var f = found[i];
                double reach = Math.Max(8, f.Box);
                double[] cut = [.. profiles[f.Block].Select((v, y) => Math.Abs(y - row) <= reach ? v : 0)];
                (int y, int box, double snr, double flux) = Best(cut, noise[f.Block], -1, 0);
                if (snr > FoundAt && flux > 0.3 * f.Flux)
                {
                    found[i] = f with { Y = y, Snr = snr, Flux = flux, Box = box };
                }

                row = found[i].Y;
            }
        }
    }

    private void Line(List<(double X, double Y, double Snr, double Flux, int Box, int Block)> found, double wantedRow)
    {
        // Theil-Sen line: half of the blocks may sit on cosmic rays, ghosts or another star.
        var slopes = new List<double>();
        for (int i = 0; i < found.Count; i++)
        {
            for (int j = i + 1; j < found.Count; j++)
            {
                slopes.Add((found[j].Y - found[i].Y) / (Scaled(found[j].X) - Scaled(found[i].X)));
            }
        }

        double slope = slopes.Count > 0 ? Robust.Median(slopes) : 0;
        double offset = Robust.Median(found.Select(f => f.Y - (slope * Scaled(f.X))));
        Polynomial = [offset, slope];
        Scatter = 1.4826 * Robust.Median(found.Select(f => Math.Abs(f.Y - At(f.X))));
        double limit = Math.Max(6, Math.Max(4 * Scatter, 0.6 * Robust.Median(found.Select(f => (double)f.Box))));
        int on = found.Count(f => Math.Abs(f.Y - At(f.X)) <= limit);
        if (on < 0.5 * found.Count || Scatter > image.Height / 8.0)
        {
            throw new CannotMeasureException("color-focus.no-trace",
                $"{Name}: bright places lie scattered over the frame and form no line, so there is no spectrum to follow. Check that the frame is a spectrum and which axis its wavelengths run along.", image.Frame.Name);
        }

        double before = At(first), after = At(end - 1);
        if (!double.IsFinite(wantedRow) && (before < 0 || before > image.Height - 1) && (after < 0 || after > image.Height - 1))
        {
            throw OffChip();
        }
    }

    private CannotMeasureException OffChip() => new("color-focus.off-chip",
        $"The spectrum in {Name} leaves the frame: followed across it, it runs from row {(int)Math.Round(At(first))} at column {first} to row {(int)Math.Round(At(end - 1))} at column {end - 1}, and only rows 2 to {image.Height - 3} can be used. Center it, turn the camera until it runs along one axis of the sensor, or say the right axis if wavelengths run along the other.", image.Frame.Name);

    private void RefuseTwo(List<(double X, double Y, double Snr, double Flux, int Box, int Block)> found, double[][] profiles, double[] noise, double wantedRow)
    {
        double box = Robust.Median(found.Select(f => (double)f.Box));
        var others = new List<(double Offset, double Ratio)>();
        foreach (var f in found.Where(f => f.Snr > 15))
        {
            double y0 = At(f.X);
            (int y, int _, double snr, double flux) = Best(profiles[f.Block], noise[f.Block], y0, Math.Max(8, 1.6 * box));
            if (snr > FoundAt)
            {
                others.Add((y - y0, flux / f.Flux));
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
                $"{Name} holds two spectra, at rows {mid:0} and {mid + offset:0} (the second with {100 * ratio:0} % of the light). Say which one by its row.", image.Frame.Name);
        }

        if (ratio < 0.03)
        {
            return; // wings of the spectrum itself, or a ghost too faint to matter
        }

        Notes.Add(ColorFocusNotes.SecondTrace.Say(
            $"A second spectrum lies near row {mid + offset:0} with {100 * ratio:0} % of the light of the measured one at row {mid:0}; it was kept out of the background.", image.Frame.Name));
        SecondOffset = offset;
        SecondHalf = Math.Max(6, box);
    }

    /// <summary>Rows from the trace to a second spectrum; NaN when there is none.</summary>
    public double SecondOffset { get; private set; } = double.NaN;

    public double SecondHalf { get; private set; }

    private void Refine(double[][] profiles, double[] noise, int width, int blocks)
    {
        double half = 8;
        for (int turn = 0; turn < 3; turn++)
        {
            var xs = new List<double>();
            var ys = new List<double>();
            var ws = new List<double>();
            var widths = new List<double>();
            for (int b = 0; b < blocks; b++)
            {
                double x = first + ((b + 0.5) * width / blocks);
                double y0 = At(x);
                double reach = turn == 0 ? Math.Max(half, 20) : Math.Max(6, 3 * half);
                int lo = (int)Math.Max(0, Math.Floor(y0 - reach)), hi = (int)Math.Min(image.Height - 1, Math.Ceiling(y0 + reach));
                if (hi - lo < 4)
                {
                    continue;
                }

                (double center, double spread, double snr) = Moments(profiles[b], lo, hi, noise[b]);
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
            double y = At(first + ((b + 0.5) * width / blocks));
            off += y < 2 || y > image.Height - 3 ? 1 : 0;
        }

        if (off > blocks / 8)
        {
            throw OffChip();
        }
    }

    private static (double Center, double HalfWidth, double Snr) Moments(double[] profile, int lo, int hi, double sigma)
    {
        // Background of this stretch: the mean of what lies at its two ends.
        int edge = Math.Max(1, (hi - lo) / 8);
        double a = 0, b = 0;
        for (int i = 0; i < edge; i++)
        {
            a += profile[lo + i] / edge;
            b += profile[hi - i] / edge;
        }

        int n = hi - lo + 1;
        var sum = new double[n + 1];
        for (int i = 0; i < n; i++)
        {
            sum[i + 1] = sum[i] + profile[lo + i] - (a + ((b - a) * i / (n - 1)));
        }

        double flux = sum[n];
        double snr = flux / (sigma * Math.Sqrt(n));
        if (!(flux > 0))
        {
            return (double.NaN, double.NaN, 0);
        }

        double left = Crossing(sum, 0.1587 * flux), right = Crossing(sum, 0.8413 * flux), middle = Crossing(sum, 0.5 * flux);
        return (lo - 0.5 + ((left + right + middle) / 3), 0.5 * (right - left), snr);
    }

    private static double Crossing(double[] sum, double level)
    {
        for (int i = 1; i < sum.Length; i++)
        {
            if (sum[i] >= level)
            {
                double step = sum[i] - sum[i - 1];
                return i - 1 + (step > 0 ? (level - sum[i - 1]) / step : 0.5);
            }
        }

        return sum.Length - 1;
    }
}
