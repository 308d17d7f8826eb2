using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Matches peaks to lines without a first guess, given only the rough dispersion.</summary>
/// <remarks>The match must be better than chance, reach over enough of the lines, and fit them.</remarks>
public static class WavelengthCalibration
{
    /// <summary>Finds the solution or refuses with the reason.</summary>
    [EngineTask("color_focus.calibrate")]
    public static WavelengthSolution Solve(WavelengthRequest request, RunContext context)
    {
        double[] flux = request.Flux;
        if (flux.Length < 64)
        {
            throw new InputException("wavelength.short", $"The spectrum has {flux.Length} columns; at least 64 are needed.", "flux");
        }

        WavelengthRange.Require(request.LimitsNm, "limits");
        if (request.DispersionNmPerPx.Length != 2 || !(request.MinDispersion > 0))
        {
            throw new InputException("wavelength.dispersion", "Give the rough dispersion as two positive numbers in nm per column.", "dispersion");
        }

        if (request.Absorption)
        {
            return StarScale.Solve(request, context);
        }

        double[] lines = [.. LampLines.Find(request.Lamps).Concat(request.LinesNm).Where(l => l >= request.MinNm && l <= request.MaxNm).Distinct().Order()];
        if (lines.Length < 3)
        {
            throw new InputException("wavelength.lines", $"{lines.Length} lines lie between {request.MinNm:0} and {request.MaxNm:0} nm; at least 3 are " +
                "needed. Name the lamp or widen the range.", "lamps");
        }

        SpectrumPeak[] peaks = SpectrumPeak.Find(flux, request.Absorption);
        if (peaks.Length < 3)
        {
            throw new CannotMeasureException("wavelength.no-lines",
                $"Only {peaks.Length} lines stand out in this spectrum; at least 3 are needed. " +
                (request.Absorption
                    ? "Take a lamp through the same setup and name it, or a star of type A, whose hydrogen lines are strong."
                    : "Expose the lamp longer, or use a lamp with more lines."));
        }

        LineMatch match = new LineMatching(peaks, lines, flux.Length, request)
            .Best(context) ?? throw NoMatch(request.Absorption, peaks.Length, 0, lines.Length);
        LampLine[] all = [.. LampLines.All(request.Lamps).Concat(request.LinesNm.Select(l => new LampLine(l, 1, -1))).Where(l =>
            l.Nm >= request.MinNm && l.Nm <= request.MaxNm).DistinctBy(l => l.Nm).OrderBy(l => l.Nm)];
        return Judge(match, peaks, lines, all, request);
    }

    internal static CannotMeasureException NoMatch(bool star, int peaks, int matched, int lines) => new("wavelength.no-match", star
        ? $"The star's own dark lines give no wavelengths: of {peaks} lines seen, {matched} fall on the {lines} hydrogen and telluric lines of the list, no " +
            "more than chance would give. Take a lamp through the same setup and name it, or check the rough dispersion and that the star is of type B, A or F."
        : $"The lamp does not match: of {peaks} lines seen, {matched} fall on the {lines} lines of the list, no more than chance would give. Check the " +
            "lamp's name, the rough dispersion and the direction.");

    /// <summary>Accepts a match, or says why not.</summary>
    private static WavelengthSolution Judge(LineMatch t, SpectrumPeak[] peaks, double[] lines, LampLine[] all, WavelengthRequest request)
    {
        int width = t.Scale.Width, unknowns = t.Scale.Coefficients.Length;
        var matched = t.Pairs.OrderBy(p => peaks[p.Peak].Column).ToList();
        double[] at = [.. matched.Select(p => peaks[p.Peak].Column)], nm = [.. matched.Select(p => lines[p.Line])];
        // Chance: each peak falls within +-tolerance of some line with this probability.
        double lo = t.Scale.Nm(at[0]), hi = t.Scale.Nm(at[^1]);
        (lo, hi) = (Math.Min(lo, hi), Math.Max(lo, hi));
        double density = lines.Count(l => l >= lo && l <= hi) / Math.Max(hi - lo, 1e-9);
        double mean = (hi - lo) / Math.Max(at[^1] - at[0], 1);
        double tolerance = Math.Max(0.3, 2 * t.Rms) * mean;
        double chance = Math.Min(0.95, 1 - Math.Exp(-2 * tolerance * density));
        int inside = peaks.Count(p => p.Column >= at[0] && p.Column <= at[^1]);
        int independent = Math.Max(0, matched.Count - unknowns);
        double logAlarm = BinomialTail(Math.Max(inside - unknowns, independent), independent, chance) + 2; // a hundred independent trials
        double share = matched.Sum(p => Math.Sqrt(peaks[p.Peak].Strength)) / peaks.Sum(p => Math.Sqrt(p.Strength));
        if (matched.Count < 5 || independent < 2 || share < 0.4 || logAlarm > -1.5)
        {
            throw NoMatch(false, peaks.Length, matched.Count, lines.Length);
        }

        var refinement = new ScaleRefinement(request.Flux, peaks, all, request.MaxDegree);
        // Peaks as they stand, each given to one line: what is left where the lists' strengths do not fit this lamp, so that its blends do
        // not hold together. A peak may then lie a part of a line's width off.
        double[] rough = [.. at.Select(_ => 0.15 * refinement.LineWidth)];
        ScaleFit? plain = ScaleFit.Through(at, nm, rough, width, request.MaxDegree);
        (ScaleFit Fit, LineBlend[] Blends)? found = refinement.Run(t, peaks);
        ScaleFit? fit = found is { } blended && (plain is null || blended.Fit.RmsColumns < Math.Max(0.3, plain.RmsColumns)) ? blended.Fit : plain;
        if (fit is null || fit.RmsColumns > request.MaxRmsPx)
        {
            throw new CannotMeasureException("wavelength.poor",
                $"{matched.Count} lines match only within {t.Rms:0.00} columns RMS, more than {request.MaxRmsPx:0.00}. Check the lamp, focus the " +
                    "spectrograph, or allow more if the spectrum is that soft.");
        }

        (double Column, double Nm)[] blends = fit == plain
            ? [.. at.Select((x, i) => (x, nm[i])).Where((_, i) => fit.Used[i])]
            : [.. found!.Value.Blends.Where((_, i) => fit.Used[i]).Select(b => (b.Column, b.Nm)).OrderBy(b => b.Column)];
        var notes = new List<Note>();
        double[] places = [.. refinement.Places(fit.Scale).Select(p => p.Column)];
        SpectrumPeak[] leftOver = [.. peaks.Where(p => !places.Any(x => Math.Abs(x - p.Column) < Math.Max(1.5, 0.6 * refinement.LineWidth)))];
        double typical = peaks.Length > 0 ? Robust.Median(peaks.Select(p => p.Strength)) : 0;
        SpectrumPeak[] strong = [.. leftOver.Where(p => p.Strength > typical)];
        if (strong.Length > 0)
        {
            notes.Add(ColorFocusNotes.LinesLeftOver.Say(
                $"{strong.Length} strong {(strong.Length == 1 ? "line is" : "lines are")} on no list of {string.Join(", ", request.Lamps)}, near " +
                    $"{string.Join(", ", strong.Take(4).Select(p => $"{fit.Scale.Nm(p.Column):0.0}"))} nm by the scale found. Another gas in the lamp, or a " +
                    "scale that is off there."));
        }

        return Finish(fit, request.FirstColumn, [.. blends.Select(b => b.Column)], [.. blends.Select(b => b.Nm)], [.. leftOver.Select(p => p.Column).Order()],
            logAlarm, notes);
    }

    /// <summary>The solution with what must be known of it.</summary>
    internal static WavelengthSolution Finish(ScaleFit fit, int before, double[] at, double[] nm, double[] leftOver, double logAlarm, List<Note> notes)
    {
        int width = fit.Scale.Width, unknowns = fit.Scale.Coefficients.Length;
        double low = nm.Min(), high = nm.Max();
        if (at.Length < 7)
        {
            notes.Add(ColorFocusNotes.FewLines.Say($"The wavelength solution rests on {at.Length} lines with {unknowns} unknowns; beyond {low:0} to " +
                $"{high:0} nm it is an extrapolation."));
        }

        if (at[^1] - at[0] < 0.7 * width)
        {
            notes.Add(ColorFocusNotes.Extrapolated.Say(
                $"The lines span columns {at[0]:0} to {at[^1]:0} of {width}, {low:0} to {high:0} nm; beyond them wavelengths are an extrapolation, by its " +
                    $"own reckoning good to {fit.Sigma(0):0.0} nm at the first column and {fit.Sigma(width - 1):0.0} nm at the last."));
        }

        double[] residual = [.. at.Select((x, i) => fit.Scale.Nm(x) - nm[i])];
        int[] columns = [.. Enumerable.Range(-before, before + width)];
        var modes = new double[fit.Modes.Length, columns.Length];
        for (int k = 0; k < fit.Modes.Length; k++)
        {
            for (int c = 0; c < columns.Length; c++)
            {
                modes[k, c] = RobustPolynomial.At(fit.Modes[k], (2.0 * columns[c] / (width - 1)) - 1);
            }
        }

        return new WavelengthSolution
        {
            WavelengthNm = [.. columns.Select(x => fit.Scale.Nm(x))],
            UncertaintyNm = [.. columns.Select(x => fit.Sigma(x))],
            ModesNm = modes,
            LineColumn = [.. at.Select(x => x + before)],
            LineWavelengthNm = nm,
            ResidualNm = residual,
            UnmatchedColumn = [.. leftOver.Select(x => x + before)],
            RmsColumns = fit.RmsColumns,
            RmsNm = Math.Sqrt(residual.Sum(r => r * r) / Math.Max(1, at.Length - unknowns)),
            Coefficients = fit.Scale.Coefficients,
            LogFalseAlarm = logAlarm,
            Medium = "air",
            Notes = notes,
        };
    }

    internal static double BinomialTail(int n, int k, double p)
    {
        double sum = 0;
        for (int i = k; i <= n; i++)
        {
            double log = MathNet.Numerics.SpecialFunctions.FactorialLn(n) - MathNet.Numerics.SpecialFunctions.FactorialLn(i)
                - MathNet.Numerics.SpecialFunctions.FactorialLn(n - i)
                + (i * Math.Log(p)) + ((n - i) * Math.Log(1 - p));
            sum += Math.Exp(log);
        }

        return Math.Log10(Math.Max(sum, 1e-300));
    }
}
