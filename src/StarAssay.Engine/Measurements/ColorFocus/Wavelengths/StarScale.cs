using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>A wavelength scale from a star's own dark lines: hydrogen's and those of oxygen in the air.</summary>
/// <remarks>Few lines, wide ones: instead of pairing dips with lines, every scale that the rough dispersion allows is laid over the
/// spectrum, and the one whose lines fall into the deepest dips is kept, if no other does nearly as well.</remarks>
internal static class StarScale
{
    // Standard uncertainty of a line's wavelength, nm: a star's velocity of 50 km/s, metal lines beside hydrogen's, and bands of the air
    // whose middle depends on their depth. Our own choice.
    private static double LineSigma(double nm) => nm is > 680 and < 695 ? 0.5 : nm > 755 ? 0.8 : nm < 400 ? 0.3 : 0.1;

    /// <summary>Finds the scale or refuses with the reason.</summary>
    public static WavelengthSolution Solve(WavelengthRequest request, RunContext context)
    {
        double[] lines = [.. LampLines.Find(request.Lamps.Length > 0 ? request.Lamps : ["H", "telluric"]).Concat(request.LinesNm)
            .Where(l => l >= request.MinNm && l <= request.MaxNm).Distinct().Order()];
        if (lines.Length < 4)
        {
            throw new InputException("wavelength.lines", $"{lines.Length} lines lie between {request.MinNm:0} and {request.MaxNm:0} nm; a star's scale " +
                "needs at least 4. Widen the range, or name H and telluric.", "lamps");
        }

        int width = request.Flux.Length;
        (double[] depth, double[] noise) = Depth(request.Flux);
        double[] signal = Signal(depth, noise);
        Trial best = default, second = default;
        int[] directions = request.Direction == 0 ? [1, -1] : [Math.Sign(request.Direction)];
        const int Steps = 60;
        double ratio = Math.Pow(request.MaxDispersion / request.MinDispersion, 1.0 / Steps);
        var trials = new List<Trial>();
        foreach (int direction in directions)
        {
            for (int d = 0; d <= Steps; d++)
            {
                context.Cancel.ThrowIfCancellationRequested();
                double dispersion = direction * request.MinDispersion * Math.Pow(ratio, d);
                foreach (double bend in new[] { -0.06, -0.03, 0, 0.03, 0.06 })
                {
                    Trial own = default;
                    double half = 0.5 * (width - 1);
                    double low = request.MinNm, high = request.MaxNm;
                    for (double middle = low; middle <= high; middle += Math.Abs(dispersion) * 1.5)
                    {
                        var scale = new ColumnScale([middle - (bend * dispersion * half / 2), dispersion * half, bend * dispersion * half], width);
                        double score = Score(scale, lines, signal);
                        if (score > own.Score)
                        {
                            own = new Trial(score, scale);
                        }
                    }

                    trials.Add(own);
                }
            }
        }

        foreach (Trial t in trials.Where(t => t.Scale is not null).OrderByDescending(t => t.Score).Take(25))
        {
            Trial refined = Climb(t, lines, signal);
            if (refined.Score > best.Score)
            {
                (second, best) = (best.Scale is not null && Apart(best, refined) ? best : second, refined);
            }
            else if (Apart(best, refined) && refined.Score > second.Score)
            {
                second = refined;
            }
        }

        int seen = best.Scale is null ? 0 : Visible(best.Scale, lines, signal).Count;
        if (seen < 4 || best.Score < 1.1 * second.Score)
        {
            throw WavelengthCalibration.NoMatch(true, SpectrumPeak.Find(request.Flux, true).Length, seen, lines.Length);
        }

        // Centers of the dips, one after the other, the scale bettered in between.
        ColumnScale now = best.Scale!;
        ScaleFit? fit = null;
        List<(double Column, double Nm, double Sigma)> places = [];
        for (int turn = 0; turn < 4; turn++)
        {
            places = [.. Visible(now, lines, signal).Select(nm =>
                Center(depth, noise, Column(now, nm), nm, Math.Abs(now.Dispersion(Column(now, nm))))).Where(p => double.IsFinite(p.Sigma))];
            fit = places.Count < 4 ? null : ScaleFit.Through([.. places.Select(p => p.Column)], [.. places.Select(p => p.Nm)],
                [.. places.Select(p => p.Sigma)], width, Math.Min(request.MaxDegree, 2));
            if (fit is null)
            {
                break;
            }

            now = fit.Scale;
        }

        if (fit is null || fit.Used.Count(u => u) < 4 || fit.RmsColumns > request.MaxRmsPx)
        {
            throw WavelengthCalibration.NoMatch(true, SpectrumPeak.Find(request.Flux, true).Length, places.Count, lines.Length);
        }

        var used = places.Where((_, i) => fit.Used[i]).OrderBy(p => p.Column).ToList();
        List<Note> notes = [ColorFocusNotes.StarLines.Say("Wavelengths come from the star's own hydrogen and telluric lines: a star's velocity of 100 km/s " +
            "shifts the former by 0.16 nm at 486 nm.")];
        double[] leftOver = [.. SpectrumPeak.Find(request.Flux, true).Select(p => p.Column).Where(x => used.All(u => Math.Abs(u.Column - x) > 4)).Order()];
        return WavelengthCalibration.Finish(fit, request.FirstColumn, [.. used.Select(p => p.Column)], [.. used.Select(p => p.Nm)], leftOver,
            Math.Log10(second.Score / best.Score) * seen, notes);
    }

    /// <summary>Depth below the continuum as a share of it, and its noise, each column.</summary>
    private static (double[] Depth, double[] Noise) Depth(double[] flux)
    {
        int n = flux.Length, reach = Math.Max(12, n / 26);
        double[] root = [.. flux.Select(f => double.IsFinite(f) ? Math.Max(f, 0) : 0)];
        var continuum = new double[n];
        for (int i = 0; i < n; i++)
        {
            // A straight line through high points on both sides, so that a flank is no dip.
            int a = Math.Max(0, i - reach), b = Math.Min(n - 1, i + reach);
            double left = High(root, a, Math.Max(a, i - (reach / 3))), right = High(root, Math.Min(b, i + (reach / 3)), b);
            double la = 0.5 * (a + Math.Max(a, i - (reach / 3))), ra = 0.5 * (b + Math.Min(b, i + (reach / 3)));
            continuum[i] = ra > la ? left + ((right - left) * (i - la) / (ra - la)) : left;
        }

        double top = continuum.Max();
        double[] depth = [.. root.Select((f, i) => continuum[i] > 0.02 * top ? 1 - (f / continuum[i]) : 0)];
        double[] jumps = [.. Enumerable.Range(0, n - 1).Select(i => continuum[i] > 0
            ? Math.Abs(root[i + 1] - root[i]) / Math.Sqrt(Math.Max(continuum[i], 1e-12)) : 0)];
        double unit = 1.4826 * Robust.Median(jumps) / Math.Sqrt(2);
        return (depth, [.. continuum.Select(c => c > 0.02 * top ? Math.Max(unit / Math.Sqrt(c), 0.002) : 1)]);
    }

    private static double High(double[] v, int a, int b)
    {
        double[] part = [.. v[a..(b + 1)].Order()];
        return part[(int)(0.7 * (part.Length - 1))];
    }

    /// <summary>How well each column stands for the middle of a dip, from 0 to 1: the depth against its shoulders.</summary>
    private static double[] Signal(double[] depth, double[] noise)
    {
        int n = depth.Length;
        var signal = new double[n];
        foreach (int half in new[] { 2, 4 })
        {
            for (int i = 3 * half; i < n - (3 * half); i++)
            {
                double core = 0, left = 0, right = 0;
                for (int k = -half / 2; k <= half / 2; k++)
                {
                    core += depth[i + k];
                    left += depth[i + k - (2 * half)];
                    right += depth[i + k + (2 * half)];
                }

                int count = (2 * (half / 2)) + 1;
                double d = (core - Math.Max(left, right)) / count;
                signal[i] = Math.Max(signal[i], d > 6 * noise[i] / Math.Sqrt(count) ? Math.Min(1, Math.Sqrt(d / 0.15)) : 0);
            }
        }

        return signal;
    }

    private static double At(double[] signal, double column)
    {
        int c = (int)Math.Round(column);
        double best = 0;
        for (int k = Math.Max(0, c - 2); k <= Math.Min(signal.Length - 1, c + 2); k++)
        {
            best = Math.Max(best, signal[k] * (1 - (0.15 * Math.Abs(k - column))));
        }

        return best;
    }

    /// <summary>Dips that the lines explain, less the lines that have none and the dips that are no line's.</summary>
    private static double Score(ColumnScale scale, double[] lines, double[] signal)
    {
        double score = 0;
        foreach (double nm in lines)
        {
            double x = Column(scale, nm);
            // Where the frame is dark, or ends, a line cannot be seen.
            if (x > 8 && x < signal.Length - 9)
            {
                double s = At(signal, x);
                score += s > 0 ? s : nm is > 400 and < 680 ? -0.5 : -0.1;
            }
        }

        return score;
    }

    private static List<double> Visible(ColumnScale scale, double[] lines, double[] signal) =>
        [.. lines.Where(nm => Column(scale, nm) is var x && x > 8 && x < signal.Length - 9 && At(signal, x) > 0.25)];

    private static double Column(ColumnScale scale, double nm)
    {
        double x = 0.5 * (scale.Width - 1);
        for (int turn = 0; turn < 12; turn++)
        {
            x = Math.Clamp(x - ((scale.Nm(x) - nm) / scale.Dispersion(x)), -2.0 * scale.Width, 3.0 * scale.Width);
        }

        return Math.Abs(scale.Nm(x) - nm) < 0.5 * Math.Abs(scale.Dispersion(x)) ? x : -1;
    }

    private static Trial Climb(Trial start, double[] lines, double[] signal)
    {
        Trial best = start;
        double[] step = [.. start.Scale!.Coefficients.Select((_, k) => Math.Abs(start.Scale.Coefficients[1]) * (k == 0 ? 0.01 : 0.008))];
        for (int turn = 0; turn < 40; turn++)
        {
            bool better = false;
            for (int k = 0; k < step.Length; k++)
            {
                foreach (double sign in new[] { -1.0, 1.0 })
                {
                    double[] c = [.. best.Scale!.Coefficients];
                    c[k] += sign * step[k];
                    var scale = new ColumnScale(c, best.Scale.Width);
                    double score = Score(scale, lines, signal);
                    if (score > best.Score)
                    {
                        (best, better) = (new Trial(score, scale), true);
                    }
                }
            }

            if (!better)
            {
                step = [.. step.Select(s => 0.5 * s)];
                if (step[0] < 0.05 * Math.Abs(best.Scale!.Dispersion(0.5 * best.Scale.Width)))
                {
                    break;
                }
            }
        }

        return best;
    }

    /// <summary>Whether two scales differ by more than a line's width somewhere in the middle of the frame.</summary>
    private static bool Apart(Trial a, Trial b) => a.Scale is null || b.Scale is null ||
        new[] { 0.25, 0.5, 0.75 }.Any(t =>
            Math.Abs(a.Scale.Nm(t * a.Scale.Width) - b.Scale.Nm(t * b.Scale.Width)) > 8 * Math.Abs(a.Scale.Dispersion(t * a.Scale.Width)));

    /// <summary>Middle of a dip: that of the depth above half of its deepest, and how well it is known.</summary>
    private static (double Column, double Nm, double Sigma) Center(double[] depth, double[] noise, double column, double nm, double dispersion)
    {
        int n = depth.Length, near = (int)Math.Round(column), reach = 4;
        int i = Enumerable.Range(Math.Max(2, near - reach), Math.Max(1, Math.Min(n - 3, near + reach) - Math.Max(2, near - reach) + 1)).MaxBy(c =>
            depth[c - 1] + depth[c] + depth[c + 1]);
        double half = 0.5 * (depth[i - 1] + depth[i] + depth[i + 1]) / 3;
        int l = i, r = i;
        while (l > 1 && depth[l - 1] > half && i - l < 14)
        {
            l--;
        }

        while (r < n - 2 && depth[r + 1] > half && r - i < 14)
        {
            r++;
        }

        double w = 0, wx = 0;
        for (int k = l; k <= r; k++)
        {
            w += depth[k] - half;
            wx += (depth[k] - half) * k;
        }

        if (!(w > 0))
        {
            return (column, nm, double.NaN);
        }

        double x = wx / w, variance = 0;
        for (int k = l; k <= r; k++)
        {
            variance += Math.Pow((k - x) * noise[k] / w, 2);
        }

        double published = LineSigma(nm) / dispersion;
        return (x, nm, Math.Sqrt(variance + (published * published) + 0.01));
    }

    private readonly record struct Trial(double Score, ColumnScale? Scale);
}
