using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>A spectrum with lines and what is known of its scale.</summary>
public sealed record WavelengthRequest
{
    /// <summary>Flux in each column: of the lamp, or of the star.</summary>
    public double[] Flux { get; init; } = [];

    /// <summary>True when the lines are dark (a star).</summary>
    public bool Absorption { get; init; }

    /// <summary>Names of line lists: Ne, Ar, Hg, He, Kr, Xe, Cd, H, telluric.</summary>
    public string[] Lamps { get; init; } = [];

    /// <summary>Lines beside or instead of the lists, nm in air.</summary>
    public double[] LinesNm { get; init; } = [];

    /// <summary>Least dispersion, nm per column, without sign.</summary>
    public required double MinDispersion { get; init; }

    /// <summary>Greatest dispersion, nm per column, without sign; a prism's range must be covered.</summary>
    public required double MaxDispersion { get; init; }

    /// <summary>Shortest wavelength that can lie in the frame.</summary>
    public double MinNm { get; init; } = 330;

    /// <summary>Longest wavelength that can lie in the frame.</summary>
    public double MaxNm { get; init; } = 1050;

    /// <summary>+1 when wavelengths grow with the column, -1 when they fall, 0 when not known.</summary>
    public int Direction { get; init; }

    /// <summary>Highest degree of the polynomial (a prism needs 3 or 4).</summary>
    public int MaxDegree { get; init; } = 3;

    /// <summary>Largest RMS residual allowed, columns.</summary>
    public double MaxRmsColumns { get; init; } = 0.8;
}

/// <summary>Wavelength of every column.</summary>
public sealed record WavelengthSolution
{
    /// <summary>Wavelength at each column, nm in air.</summary>
    public required double[] WavelengthNm { get; init; }

    /// <summary>Columns of the lines used.</summary>
    public required double[] LineColumn { get; init; }

    /// <summary>Their wavelengths, nm in air.</summary>
    public required double[] LineNm { get; init; }

    /// <summary>Measured minus published, nm.</summary>
    public required double[] ResidualNm { get; init; }

    /// <summary>Columns of the peaks that matched no line.</summary>
    public required double[] UnmatchedColumn { get; init; }

    /// <summary>RMS residual, nm, corrected for the unknowns.</summary>
    public required double RmsNm { get; init; }

    /// <summary>The same in columns.</summary>
    public required double RmsColumns { get; init; }

    /// <summary>Polynomial, lowest power first, of the column scaled to -1 ... 1 over the frame.</summary>
    public required double[] Coefficients { get; init; }

    /// <summary>log10 of the chance that as many lines match by accident.</summary>
    public required double LogFalseAlarm { get; init; }

    /// <summary>Always "air".</summary>
    public required string Medium { get; init; }

    /// <summary>What must be known.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}

/// <summary>Matches peaks to lines without a first guess, given only the rough dispersion.</summary>
/// <remarks>Pairs of peaks are tried as pairs of lines; each trial is judged by how many other peaks fall on lines, the best
/// are refined with growing degree, and the winner must be better than chance.</remarks>
public static class WavelengthCalibration
{
    private sealed record Trial(double[] Coefficients, List<(int Peak, int Line)> Pairs, double Rms, double Score);

    /// <summary>Finds the solution or refuses with the reason.</summary>
    public static WavelengthSolution Solve(WavelengthRequest request, RunContext context)
    {
        double[] flux = request.Flux;
        if (flux.Length < 64)
        {
            throw new InputException("wavelength.short", $"The spectrum has {flux.Length} columns; at least 64 are needed.", "flux");
        }

        if (!(request.MinDispersion > 0 && request.MaxDispersion >= request.MinDispersion))
        {
            throw new InputException("wavelength.dispersion", "Give the rough dispersion as two positive numbers in nm per column, the smaller first.", "min_dispersion");
        }

        double[] lines = [.. LampLines.Find(request.Lamps).Concat(request.LinesNm).Where(l => l >= request.MinNm && l <= request.MaxNm).Distinct().Order()];
        if (lines.Length < 3)
        {
            throw new InputException("wavelength.lines", $"{lines.Length} lines lie between {request.MinNm:0} and {request.MaxNm:0} nm; at least 3 are needed. Name the lamp or widen the range.", "lamps");
        }

        (double X, double Strength)[] peaks = Peaks(flux, request.Absorption);
        if (peaks.Length < 3)
        {
            throw new CannotMeasureException("wavelength.no-lines",
                $"Only {peaks.Length} lines stand out in this spectrum; at least 3 are needed. Expose the lamp longer, or use a lamp with more lines.");
        }

        int width = flux.Length;
        var best = new List<Trial>();
        foreach (int direction in request.Direction == 0 ? [1, -1] : new[] { Math.Sign(request.Direction) })
        {
            best.AddRange(Search(peaks, lines, width, direction, request, context));
        }

        Trial? winner = best.OrderByDescending(t => t.Score).FirstOrDefault();
        return winner is null
            ? throw NoMatch(peaks.Length, 0, lines.Length)
            : Finish(winner, peaks, lines, width, request);
    }

    private static CannotMeasureException NoMatch(int peaks, int matched, int lines) => new("wavelength.no-match",
        $"The lamp does not match: of {peaks} lines seen, {matched} fall on the {lines} lines of the list, no more than chance would give. Check the lamp's name, the rough dispersion and the direction.");

    private static double Scaled(double x, int width) => (2 * x / (width - 1)) - 1;

    private static List<Trial> Search((double X, double Strength)[] peaks, double[] lines, int width, int direction, WavelengthRequest request, RunContext context)
    {
        int strong = Math.Min(peaks.Length, 18);
        (double X, double Strength)[] head = [.. peaks.Take(strong).OrderBy(p => p.X)];
        var seeds = new List<(double Score, double Slope, double X0, double Nm0)>();
        for (int i = 0; i < head.Length; i++)
        {
            context.Cancel.ThrowIfCancellationRequested();
            for (int j = i + 1; j < head.Length; j++)
            {
                double dx = head[j].X - head[i].X;
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
                        double x0 = 0.5 * (head[i].X + head[j].X), nm0 = 0.5 * (lines[a] + lines[b]);
                        double reach = Math.Max(0.7 * dx, 0.12 * width);
                        double score = 0;
                        foreach ((double x, double _) in head)
                        {
                            if (Math.Abs(x - x0) <= reach)
                            {
                                double miss = Math.Abs(Nearest(lines, nm0 + (slope * (x - x0))) / slope);
                                double tolerance = 2 + (0.01 * Math.Abs(x - x0));
                                score += miss < tolerance ? 1 - (0.5 * miss / tolerance) : -0.4;
                            }
                        }

                        if (score > 2)
                        {
                            seeds.Add((score, slope, x0, nm0));
                        }
                    }
                }
            }
        }

        var trials = new List<Trial>();
        foreach ((double _, double slope, double x0, double nm0) in seeds.OrderByDescending(s => s.Score).Take(300))
        {
            double half = 0.5 * (width - 1);
            double[] c = [nm0 + (slope * (half - x0)), slope * half];
            if (Grow(c, x0, peaks, lines, width, direction, request) is { } t)
            {
                trials.Add(t);
            }
        }

        return trials;
    }

    private static Trial? Grow(double[] c, double x0, (double X, double Strength)[] peaks, double[] lines, int width, int direction, WavelengthRequest request)
    {
        // Start round the seed and let the solved stretch grow outward, the degree with the number of lines.
        double reach = 0.15 * width;
        List<(int Peak, int Line)> pairs = [];
        for (int turn = 0; turn < 14; turn++)
        {
            double tolerance = turn < 11 ? 3.0 : request.Absorption ? 3.0 : 1.8;
            pairs = Match(c, x0, reach, peaks, lines, width, tolerance);
            if (pairs.Count < 3)
            {
                return null;
            }

            int degree = Math.Min(request.MaxDegree, pairs.Count >= 9 ? 4 : pairs.Count >= 6 ? 3 : pairs.Count >= 4 ? 2 : 1);
            if (turn < 4)
            {
                degree = Math.Min(degree, 2);
            }

            c = Fit(pairs, peaks, lines, width, degree);
            reach = Math.Min(width, reach * 1.35);
        }

        // Monotonic, and within the rough dispersion (with a quarter to spare), all over the stretch with lines.
        double lo = pairs.Min(p => peaks[p.Peak].X), hi = pairs.Max(p => peaks[p.Peak].X);
        double margin = 0.1 * (hi - lo);
        for (int k = 0; k <= 20; k++)
        {
            double x = Math.Clamp(lo - margin + ((hi - lo + (2 * margin)) * k / 20), 0, width - 1);
            double d = direction * Slope(c, x, width);
            if (d < 0.75 * request.MinDispersion || d > 1.33 * request.MaxDispersion)
            {
                return null;
            }
        }

        double sum = pairs.Sum(p => Math.Pow((Robust.Evaluate(c, Scaled(peaks[p.Peak].X, width)) - lines[p.Line]) / Slope(c, peaks[p.Peak].X, width), 2));
        int free = Math.Max(1, pairs.Count - c.Length);
        double rms = Math.Sqrt(sum / free);
        // Strong peaks without a line count against a trial more than weak ones.
        double explained = 0, total = 0;
        var matched = pairs.Select(p => p.Peak).ToHashSet();
        for (int i = 0; i < peaks.Length; i++)
        {
            double w = Math.Sqrt(peaks[i].Strength);
            total += w;
            explained += matched.Contains(i) ? w : 0;
        }

        double score = (pairs.Count - c.Length) * (1 - Math.Min(0.9, rms / 2)) * explained / total;
        return new Trial(c, pairs, rms, score);
    }

    private static List<(int Peak, int Line)> Match(double[] c, double x0, double reach, (double X, double Strength)[] peaks, double[] lines, int width, double tolerance)
    {
        var taken = new Dictionary<int, (int Peak, double Miss)>();
        for (int i = 0; i < peaks.Length; i++)
        {
            double x = peaks[i].X;
            if (Math.Abs(x - x0) > reach)
            {
                continue;
            }

            double nm = Robust.Evaluate(c, Scaled(x, width));
            int k = Array.BinarySearch(lines, nm);
            k = k >= 0 ? k : ~k;
            int line = k >= lines.Length || (k > 0 && nm - lines[k - 1] < lines[k] - nm) ? k - 1 : k;
            double miss = Math.Abs((nm - lines[line]) / Slope(c, x, width));
            if (miss < tolerance && (!taken.TryGetValue(line, out (int Peak, double Miss) old) || miss < old.Miss))
            {
                taken[line] = (i, miss);
            }
        }

        return [.. taken.Select(t => (t.Value.Peak, t.Key))];
    }

    private static double[] Fit(List<(int Peak, int Line)> pairs, (double X, double Strength)[] peaks, double[] lines, int width, int degree)
    {
        double[] x = [.. pairs.Select(p => Scaled(peaks[p.Peak].X, width))];
        double[] y = [.. pairs.Select(p => lines[p.Line])];
        return MathNet.Numerics.Fit.Polynomial(x, y, Math.Min(degree, pairs.Count - 1));
    }

    private static double Slope(double[] c, double x, int width)
    {
        double u = Scaled(x, width), s = 0;
        for (int k = c.Length - 1; k >= 1; k--)
        {
            s = (s * u) + (k * c[k]);
        }

        double slope = s * 2 / (width - 1);
        return Math.Abs(slope) < 1e-9 ? 1e-9 : slope;
    }

    private static double Nearest(double[] lines, double nm)
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

    private static WavelengthSolution Finish(Trial t, (double X, double Strength)[] peaks, double[] lines, int width, WavelengthRequest request)
    {
        var matched = t.Pairs.OrderBy(p => peaks[p.Peak].X).ToList();
        double[] at = [.. matched.Select(p => peaks[p.Peak].X)], nm = [.. matched.Select(p => lines[p.Line])];
        // Chance: each peak falls within +-tolerance of some line with this probability.
        double lo = Robust.Evaluate(t.Coefficients, Scaled(at[0], width)), hi = Robust.Evaluate(t.Coefficients, Scaled(at[^1], width));
        (lo, hi) = (Math.Min(lo, hi), Math.Max(lo, hi));
        double density = lines.Count(l => l >= lo && l <= hi) / Math.Max(hi - lo, 1e-9);
        double mean = (hi - lo) / Math.Max(at[^1] - at[0], 1);
        double tolerance = Math.Max(0.3, 2 * t.Rms) * mean;
        double chance = Math.Min(0.95, 1 - Math.Exp(-2 * tolerance * density));
        int inside = peaks.Count(p => p.X >= at[0] && p.X <= at[^1]);
        int independent = Math.Max(0, matched.Count - t.Coefficients.Length);
        double logAlarm = BinomialTail(Math.Max(inside - t.Coefficients.Length, independent), independent, chance) + 2; // a hundred independent trials
        double share = matched.Sum(p => Math.Sqrt(peaks[p.Peak].Strength)) / peaks.Sum(p => Math.Sqrt(p.Strength));
        int least = request.Absorption ? 4 : 5;
        if (matched.Count < least || independent < 2 || share < 0.4 || logAlarm > -1.5)
        {
            throw NoMatch(peaks.Length, matched.Count, lines.Length);
        }

        if (t.Rms > request.MaxRmsColumns)
        {
            throw new CannotMeasureException("wavelength.poor",
                $"{matched.Count} lines match only within {t.Rms:0.00} columns RMS, more than {request.MaxRmsColumns:0.00}. Check the lamp, focus the spectrograph, or allow more if the spectrum is that soft.");
        }

        var notes = new List<Note>();
        if (matched.Count < 7)
        {
            notes.Add(ColorFocusNotes.FewLines.Say($"The wavelength solution rests on {matched.Count} lines with {t.Coefficients.Length} unknowns; beyond {lo:0} to {hi:0} nm it is an extrapolation."));
        }

        if (at[^1] - at[0] < 0.7 * width)
        {
            notes.Add(ColorFocusNotes.Extrapolated.Say($"The lines span columns {at[0]:0} to {at[^1]:0} of {width}, {lo:0} to {hi:0} nm; beyond them wavelengths are an extrapolation that can be far off."));
        }

        if (request.Absorption)
        {
            notes.Add(ColorFocusNotes.StarLines.Say("Wavelengths come from the star's own hydrogen and telluric lines: a star's velocity of 100 km/s shifts the former by 0.16 nm at 486 nm."));
        }

        double[] residual = [.. at.Select((x, i) => Robust.Evaluate(t.Coefficients, Scaled(x, width)) - nm[i])];
        var used = matched.Select(p => p.Peak).ToHashSet();
        return new WavelengthSolution
        {
            WavelengthNm = [.. Enumerable.Range(0, width).Select(x => Robust.Evaluate(t.Coefficients, Scaled(x, width)))],
            LineColumn = at,
            LineNm = nm,
            ResidualNm = residual,
            UnmatchedColumn = [.. peaks.Where((_, i) => !used.Contains(i)).Select(p => p.X).Order()],
            RmsColumns = t.Rms,
            RmsNm = Math.Sqrt(residual.Sum(r => r * r) / Math.Max(1, independent)),
            Coefficients = t.Coefficients,
            LogFalseAlarm = logAlarm,
            Medium = "air",
            Notes = notes,
        };
    }

    private static double BinomialTail(int n, int k, double p)
    {
        double sum = 0;
        for (int i = k; i <= n; i++)
        {
            double log = MathNet.Numerics.SpecialFunctions.FactorialLn(n) - MathNet.Numerics.SpecialFunctions.FactorialLn(i) - MathNet.Numerics.SpecialFunctions.FactorialLn(n - i)
                + (i * Math.Log(p)) + ((n - i) * Math.Log(1 - p));
            sum += Math.Exp(log);
        }

        return Math.Log10(Math.Max(sum, 1e-300));
    }

    /// <summary>Peaks (or dips) by strength, strongest first, with centers to a fraction of a column.</summary>
    internal static (double X, double Strength)[] Peaks(double[] flux, bool absorption)
    {
        int n = flux.Length, reach = Math.Max(15, n / (absorption ? 24 : 40));
        var continuum = new double[n];
        var part = new double[(2 * reach) + 1];
        for (int i = 0; i < n; i++)
        {
            int a = Math.Max(0, i - reach), b = Math.Min(n - 1, i + reach);
            for (int k = a; k <= b; k++)
            {
                part[k - a] = double.IsFinite(flux[k]) ? flux[k] : 0;
            }

            Span<double> used = part.AsSpan(0, b - a + 1);
            used.Sort();
            // A lamp's floor is low between crowded lines; a star's continuum high between dips.
            continuum[i] = used[(int)((absorption ? 0.7 : 0.25) * (used.Length - 1))];
        }

        var v = new double[n];
        double top = Math.Max(continuum.Max(), 1e-12);
        for (int i = 0; i < n; i++)
        {
            double d = flux[i] - continuum[i];
            v[i] = absorption ? (continuum[i] > 0.05 * top ? -d / continuum[i] : 0) : d;
        }

        double[] rough = new double[n - 1];
        for (int i = 0; i + 1 < n; i++)
        {
            rough[i] = Math.Abs(v[i + 1] - v[i]);
        }

        double sigma = Math.Max(1.4826 * Robust.Median(rough) / Math.Sqrt(2), 1e-12);
        double threshold = absorption ? Math.Max(6 * sigma, 0.03) : Math.Max(10 * sigma, 0.004 * v.Max());
        var found = new List<(double X, double Strength)>();
        for (int i = 2; i < n - 2; i++)
        {
            if (!(v[i] > threshold && v[i] >= v[i - 1] && v[i] > v[i + 1] && v[i] >= v[i - 2] && v[i] >= v[i + 2]))
            {
                continue;
            }

            // Center of the part above half height, a clipped top included.
            double half = 0.5 * v[i];
            int l = i, r = i;
            while (l > 0 && v[l - 1] > half && i - l < 25)
            {
                l--;
            }

            while (r < n - 1 && v[r + 1] > half && r - i < 25)
            {
                r++;
            }

            double w = 0, wx = 0;
            for (int k = l; k <= r; k++)
            {
                w += v[k] - half;
                wx += (v[k] - half) * k;
            }

            double x = w > 0 ? wx / w : i;
            if (found.Count > 0 && x - found[^1].X < 1.5)
            {
                continue;
            }

            found.Add((x, v[i]));
        }

        // A star's shallow dips are noise and blends beside lines that deep.
        double deepest = found.Count > 0 ? found.Max(p => p.Strength) : 0;
        return [.. found.Where(p => !absorption || p.Strength > 0.2 * deepest).OrderByDescending(p => p.Strength).Take(absorption ? 14 : 45)];
    }
}
