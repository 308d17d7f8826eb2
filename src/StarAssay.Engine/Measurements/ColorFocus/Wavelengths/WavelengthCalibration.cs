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

        if (!(request.MinDispersion > 0 && request.MaxDispersion >= request.MinDispersion))
        {
            throw new InputException("wavelength.dispersion", "Give the rough dispersion as two positive numbers in nm per column, the smaller first.", "min_dispersion");
        }

        double[] lines = [.. LampLines.Find(request.Lamps).Concat(request.LinesNm).Where(l => l >= request.MinNm && l <= request.MaxNm).Distinct().Order()];
        if (lines.Length < 3)
        {
            throw new InputException("wavelength.lines", $"{lines.Length} lines lie between {request.MinNm:0} and {request.MaxNm:0} nm; at least 3 are needed. Name the lamp or widen the range.", "lamps");
        }

        SpectrumPeak[] peaks = SpectrumPeak.Find(flux, request.Absorption);
        if (peaks.Length < 3)
        {
            throw new CannotMeasureException("wavelength.no-lines",
                $"Only {peaks.Length} lines stand out in this spectrum; at least 3 are needed. {(request.Absorption ? "Take a lamp through the same setup and name it, or a star of type A, whose hydrogen lines are strong." : "Expose the lamp longer, or use a lamp with more lines.")}");
        }

        LineMatch match = new LineMatching(peaks, lines, flux.Length, request).Best(context) ?? throw NoMatch(request.Absorption, peaks.Length, 0, lines.Length);
        return Judge(match, peaks, lines, request);
    }

    private static CannotMeasureException NoMatch(bool star, int peaks, int matched, int lines) => new("wavelength.no-match", star
        ? $"The star's own dark lines give no wavelengths: of {peaks} lines seen, {matched} fall on the {lines} hydrogen and telluric lines of the list, no more than chance would give. Take a lamp through the same setup and name it, or check the rough dispersion and that the star is of type B, A or F."
        : $"The lamp does not match: of {peaks} lines seen, {matched} fall on the {lines} lines of the list, no more than chance would give. Check the lamp's name, the rough dispersion and the direction.");

    /// <summary>Accepts a match, or says why not.</summary>
    private static WavelengthSolution Judge(LineMatch t, SpectrumPeak[] peaks, double[] lines, WavelengthRequest request)
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
        int least = request.Absorption ? 4 : 5;
        if (matched.Count < least || independent < 2 || share < 0.4 || logAlarm > -1.5)
        {
            throw NoMatch(request.Absorption, peaks.Length, matched.Count, lines.Length);
        }

        if (t.Rms > request.MaxRmsColumns)
        {
            throw new CannotMeasureException("wavelength.poor",
                $"{matched.Count} lines match only within {t.Rms:0.00} columns RMS, more than {request.MaxRmsColumns:0.00}. Check the lamp, focus the spectrograph, or allow more if the spectrum is that soft.");
        }

        var notes = new List<Note>();
        if (matched.Count < 7)
        {
            notes.Add(ColorFocusNotes.FewLines.Say($"The wavelength solution rests on {matched.Count} lines with {unknowns} unknowns; beyond {lo:0} to {hi:0} nm it is an extrapolation."));
        }

        if (at[^1] - at[0] < 0.7 * width)
        {
            notes.Add(ColorFocusNotes.Extrapolated.Say($"The lines span columns {at[0]:0} to {at[^1]:0} of {width}, {lo:0} to {hi:0} nm; beyond them wavelengths are an extrapolation that can be far off."));
        }

        if (request.Absorption)
        {
            notes.Add(ColorFocusNotes.StarLines.Say("Wavelengths come from the star's own hydrogen and telluric lines: a star's velocity of 100 km/s shifts the former by 0.16 nm at 486 nm."));
        }

        double[] residual = [.. at.Select((x, i) => t.Scale.Nm(x) - nm[i])];
        var used = matched.Select(p => p.Peak).ToHashSet();
        return new WavelengthSolution
        {
            WavelengthNm = [.. Enumerable.Range(0, width).Select(x => t.Scale.Nm(x))],
            LineColumn = at,
            LineNm = nm,
            ResidualNm = residual,
            UnmatchedColumn = [.. peaks.Where((_, i) => !used.Contains(i)).Select(p => p.Column).Order()],
            RmsColumns = t.Rms,
            RmsNm = Math.Sqrt(residual.Sum(r => r * r) / Math.Max(1, independent)),
            Coefficients = t.Scale.Coefficients,
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
}
