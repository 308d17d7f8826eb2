using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.NightConditions;

/// <summary>Widths of the stars through a night: how wide at the zenith, what changes with time, and what of it can be focus or mount.</summary>
public static class NightConditionsMeasurement
{
    /// <summary>Fewer frames have no course.</summary>
    public const int LeastFrames = 3;

    // Frames and hours from which on a trend is looked for, and standard uncertainties from which on it is told.
    private const int TrendFrames = 6;
    private const double TrendHours = 0.5, Told = 2.5;

    // A nominal focal length is off by so much (common practice, no source; as the star table takes it).
    private const double NominalScale = 0.01;

    // What all widths of star profiles are off by together (drawn fields, docs/accuracy.md), and those of stars hardly wider than a pixel.
    private const double ProfileError = 0.015, UndersampledError = 0.05;

    // That a blur by defocus grows with the square of time holds for small ones; what it may be wrong by (drawn nights, docs/accuracy.md).
    private const double GrowthLaw = 0.15;

    // To which the widths are reduced, as observatories state them.
    private const double ZenithWavelengthNm = 500, UsualWavelengthNm = 550;

    private const int CurvePoints = 61;

    /// <summary>Measures the conditions of a night.</summary>
    /// <exception cref="InputException">Columns of unequal length, times that do not ascend, a value out of range.</exception>
    /// <exception cref="CannotMeasureException">Too few frames with stars.</exception>
    [Measurement("night_conditions", "Night conditions")]
    public static NightConditionsResult Measure(NightConditionsRequest request, RunContext context)
    {
        FieldRules.Require(request);
        Check(request);
        request = request with { Airmass = Airmasses(request) };
        context.Report(0.1, "widths and shapes of the frames");
        var frames = NightFrames.Of(request);
        int n = request.TimeH.Length;
        if (frames.Usable.Length < LeastFrames)
        {
            throw new CannotMeasureException("night-conditions.too-few-frames",
                $"{frames.Usable.Length} of {n} frames show {NightFrames.LeastStars} or more clean stars; {LeastFrames} are needed, a dozen over hours are "
                + "wanted. Expose longer, or take a richer field.");
        }

        double wavelength = double.IsNaN(request.WavelengthNm) ? UsualWavelengthNm : request.WavelengthNm;
        var air = new AirWidth(request.ApertureMm, request.Obstruction, wavelength);
        bool anyAirmass = frames.Usable.Any(f => request.Airmass[f] > 0);
        (double[] reduced, double[] noise) = (Blank(n), Blank(n));
        foreach (int f in frames.Usable.Where(f => !anyAirmass || request.Airmass[f] > 0))
        {
            (double width, double slope) = air.Of(frames.Round[f]);
            reduced[f] = Seeing.ScaleFwhm(width, wavelength, ZenithWavelengthNm, anyAirmass ? request.Airmass[f] : 1);
            noise[f] = slope * frames.RoundError[f] / frames.Round[f];
        }

        int[] rows = [.. frames.Usable.Where(f => reduced[f] > 0)];
        if (rows.Length < LeastFrames)
        {
            throw new CannotMeasureException("night-conditions.too-few-airmasses",
                $"{rows.Length} frames with stars have an airmass; {LeastFrames} are needed. Give airmass for all frames, or for none.");
        }

        context.Report(0.3, "fitting level and trend");
        double[] time = [.. rows.Select(f => request.TimeH[f])];
        FocusHistory focus = FocusHistory.Of(time, [.. rows.Select(f => request.Focus.Length == n ? request.Focus[f] : double.NaN)]);
        var course = NightCourse.Fit(time, [.. rows.Select(f => Math.Log(reduced[f]))], [.. rows.Select(f => noise[f])],
            rows.Length >= TrendFrames && time[^1] - time[0] >= TrendHours, focus);
        context.Report(0.8, "focus");
        return Tell(request, frames, air, wavelength, rows, reduced, noise, focus, course);
    }

    private static NightConditionsResult Tell(NightConditionsRequest request, NightFrames frames, AirWidth air, double wavelength, int[] rows,
        double[] reduced, double[] noise, FocusHistory focus, NightCourse course)
    {
        int n = request.TimeH.Length;
        double median = Robust.Median(frames.Usable.Select(f => frames.Fwhm[f])), widthPx = median / request.PixelScaleArcsecPerPx;
        double common = double.Hypot(request.ScaleFromSky ? 0 : NominalScale, widthPx > NightFrames.Sampled ? ProfileError : UndersampledError);
        Measured Angle(double value, double random) => new(value, double.Hypot(random, common * value), "arcsec");
        double level = Math.Exp(course.Level.Value);
        Measured zenith = Angle(level, level * course.Level.Sigma);
        Measured trend = course.HasTrend ? new Measured(level * course.Trend.Value, level * course.Trend.Sigma, "arcsec / h") : Measured.None("arcsec / h");
        string verdict = !(Math.Abs(trend.Value) > Told * trend.Uncertainty) ? "not decided" : trend.Value > 0 ? "rising" : "falling";
        double[] sorted = [.. rows.Select(f => reduced[f]).Order()];

        (int[] best, double bestValue, double bestError) = Best(frames);
        double medianError = 1.2533 * Math.Sqrt(frames.Usable.Average(f => frames.FwhmError[f] * frames.FwhmError[f]) / frames.Usable.Length);
        (double added, double addedError) = Added(median, medianError, bestValue, bestError);

        double own = Math.Sqrt(frames.Usable.Average(f => frames.ShapeError[f] * frames.ShapeError[f]));
        double beside = Math.Sqrt(frames.Usable.Average(f => Math.Pow((frames.Shape[f] - frames.Steady).Magnitude, 2)) / 2);
        double steadyError = 1.2533 * Math.Max(own, beside) / Math.Sqrt(frames.Usable.Length), steady = frames.Steady.Magnitude;
        var shared = new Measured(Math.Sqrt(Math.Max(0, (steady * steady) - (2 * steadyError * steadyError))), steadyError, string.Empty);

        (Measured growth, Measured growthDrift) = Growth(request, wavelength, focus, course, median);
        double largest = Largest(request, wavelength, focus, course, median);
        var places = FocusPlaces.Of(request, rows, focus);
        string unit = places.InUm ? "um" : string.Empty;
        string Per(string of) => places.InUm ? $"um / {of}" : $"1 / {of}";

        double[] at = [.. Enumerable.Range(0, CurvePoints).Select(k =>
            request.TimeH[rows[0]] + ((request.TimeH[rows[^1]] - request.TimeH[rows[0]]) * k / (CurvePoints - 1)))];
        (double Value, double Sigma)[] curve = [.. at.Select(course.At)];
        int[] flags = [.. Enumerable.Range(0, n).Select(f => (int)((frames.Fwhm[f] > 0 ? FrameMarks.None : FrameMarks.FewStars)
            | (frames.Trailed[f] ? FrameMarks.Trailed : FrameMarks.None) | (best.Contains(f) ? FrameMarks.Best : FrameMarks.None)
            | (frames.Fwhm[f] > 0 && !(reduced[f] > 0) ? FrameMarks.NoAirmass : FrameMarks.None)))];
        for (int k = 0; k < rows.Length; k++)
        {
            flags[rows[k]] |= (int)(focus.Moved[k] && !focus.Followed ? FrameMarks.Refocused : FrameMarks.None);
        }

        var result = new NightConditionsResult
        {
            ZenithFwhm = zenith,
            LowerQuartileArcsec = Quantile(sorted, 0.25),
            UpperQuartileArcsec = Quantile(sorted, 0.75),
            Trend = trend,
            TrendVerdict = verdict,
            FrameScatter = 100 * course.Scatter,
            IndependentFrames = course.Independent,
            MedianFwhm = Angle(median, medianError),
            BestFwhm = Angle(bestValue, bestError),
            AddedFwhm = Angle(added, addedError),
            SteadyEllipticity = shared,
            SteadyAngleDeg = frames.Steady.Phase * 90 / Math.PI,
            ChangingEllipticity = Math.Sqrt(Math.Max(0, 2 * ((beside * beside) - (own * own)))),
            FocusGrowth = growth,
            RefocusInterval = focus.Refocused ? focus.Interval : double.NaN,
            GrowthDrift = growthDrift,
            LargestDrift = largest,
            FocusDrift = new Measured(places.WithTime.Slope.Value, places.WithTime.Slope.Sigma, Per("h")),
            FocusDriftWithTemperature = new Measured(places.WithTemperature.Slope.Value, places.WithTemperature.Slope.Sigma, Per("K")),
            CoolingTime = new Measured(places.WithTime.Tau.Value, places.WithTime.Tau.Sigma, "h"),
            FinalFocus = new Measured(places.WithTime.Rest.Value, places.WithTime.Rest.Sigma, unit),
            BestFrames = best,
            WavelengthNm = wavelength,
            Time = request.TimeH,
            FwhmArcsec = frames.Fwhm,
            FwhmUncertaintyArcsec = frames.FwhmError,
            ReducedFwhmArcsec = reduced,
            ReducedFwhmUncertaintyArcsec = [.. noise.Zip(reduced, (s, w) => s * w)],
            Airmass = request.Airmass,
            Ellipticity = [.. frames.Shape.Select((s, f) => frames.Fwhm[f] > 0 ? s.Magnitude : double.NaN)],
            EllipticityUncertainty = frames.ShapeError,
            AngleDeg = [.. frames.Shape.Select((s, f) => frames.Fwhm[f] > 0 ? s.Phase * 90 / Math.PI : double.NaN)],
            Focus = request.Focus.Length == n ? request.Focus : Blank(n),
            Stars = frames.Stars,
            Flags = flags,
            CurveTime = at,
            CurveArcsec = [.. curve.Select(c => Math.Exp(c.Value))],
            CurveUncertaintyArcsec = [.. curve.Select(c => Math.Exp(c.Value) * c.Sigma)],
            RunTime = places.Time,
            RunFocus = places.Place,
            FocusIsLength = places.InUm,
            Quantities = [],
            Notes = [],
        };
        var words = new NightWords(request, frames, air, rows, focus, places, result, Told);
        IReadOnlyList<Note> notes = words.Notes(course.HasTrend);
        string[] doubts = [.. notes.Where(note => note.Level == NoteLevel.Doubt).Select(note => note.Text)];
        Quantity Claimed(QuantityDefinition kind, Measured value, double random) => kind.Of(value, random) with { Count = rows.Length, Doubts = doubts };
        return result with
        {
            Notes = notes,
            Quantities =
            [
                Claimed(NightConditionsQuantities.Zenith, zenith, level * course.Level.Sigma) with { WavelengthNm = ZenithWavelengthNm },
                Claimed(NightConditionsQuantities.Best, result.BestFwhm, bestError) with { WavelengthNm = wavelength },
            ],
        };
    }

    /// <summary>Frames of the best fifth, and their mean width; that noise chose them is taken off by drawing each towards the mean of all.</summary>
    private static (int[] Frames, double Value, double Error) Best(NightFrames frames)
    {
        int[] whole = [.. frames.Usable.Where(f => !frames.Trailed[f])];
        whole = whole.Length > 0 ? whole : frames.Usable;
        double mean = whole.Average(f => frames.Fwhm[f]), noise = whole.Average(f => frames.FwhmError[f] * frames.FwhmError[f]);
        double true2 = Math.Max(0, (whole.Sum(f => Math.Pow(frames.Fwhm[f] - mean, 2)) / Math.Max(1, whole.Length - 1)) - noise);
        double Trust(int f) => true2 / (true2 + (frames.FwhmError[f] * frames.FwhmError[f]));
        int[] best = [.. whole.OrderBy(f => frames.Fwhm[f]).ThenBy(f => f).Take(Math.Max(1, (int)Math.Round(0.2 * whole.Length)))];
        double value = best.Average(f => mean + (Trust(f) * (frames.Fwhm[f] - mean)));
        double error = Math.Sqrt(best.Sum(f => Trust(f) * frames.FwhmError[f] * frames.FwhmError[f])) / best.Length;
        return (best, value, double.Hypot(error, Math.Sqrt(noise / whole.Length) * (1 - best.Average(Trust))));
    }

    private static (double Value, double Error) Added(double median, double medianError, double best, double bestError)
    {
        double strength = Math.Pow(median, 5.0 / 3) - Math.Pow(best, 5.0 / 3);
        double error = 5.0 / 3 * double.Hypot(Math.Pow(median, 2.0 / 3) * medianError, Math.Pow(best, 2.0 / 3) * bestError);
        double value = Math.Pow(Math.Max(0, strength), 0.6);

        // Near nothing the root is steep: the bar is then half of what one uncertainty more would add.
        double up = Math.Pow(Math.Max(0, strength + error), 0.6), down = Math.Pow(Math.Max(0, strength - error), 0.6);
        return (value, (up - down) / 2);
    }

    private static (Measured Growth, Measured Drift) Growth(NightConditionsRequest request, double wavelength, FocusHistory focus,
        NightCourse course, double median)
    {
        if (!course.HasGrowth)
        {
            return (Measured.None("arcsec"), Measured.None("um / h"));
        }

        (double g, double sigma) = course.Growth;
        var growth = new Measured(median * (Math.Exp(g) - 1), median * Math.Exp(g) * sigma, "arcsec");
        if (!(g > Told * sigma))
        {
            return (growth, Measured.None("um / h"));
        }

        double start = median * Math.Exp(-g * course.MeanGrowth);
        double Drift(double by) => FocusHistory.Shift(request, wavelength, start, start * Math.Exp(by)) / focus.Interval;
        double drift = Drift(g);
        return (growth, new Measured(drift, double.Hypot((Drift(g + sigma) - Drift(g - sigma)) / 2, GrowthLaw * drift), "um / h"));
    }

    private static double Largest(NightConditionsRequest request, double wavelength, FocusHistory focus, NightCourse course, double median)
    {
        if (!course.HasTrend || focus.Refocused || focus.Followed)
        {
            return double.NaN;
        }

        double most = Math.Max(0, course.Trend.Value + (2 * course.Trend.Sigma)) * course.Span, start = median * Math.Exp(-most / 2);
        return FocusHistory.Shift(request, wavelength, start, start * Math.Exp(most)) / course.Span;
    }

    /// <summary>As given, else by altitude (Kasten and Young 1989).</summary>
    private static double[] Airmasses(NightConditionsRequest request) => [.. request.Airmass.Select((given, f) => double.IsFinite(given) ? given
        : f < request.AltitudeDeg.Length && request.AltitudeDeg[f] > 0
            ? Atmosphere.AirmassKastenYoung(90 - Math.Min(90, request.AltitudeDeg[f])) : double.NaN)];

    private static double Quantile(double[] sorted, double share)
    {
        double at = share * (sorted.Length - 1);
        int k = Math.Min((int)at, sorted.Length - 2);
        return sorted[k] + ((at - k) * (sorted[k + 1] - sorted[k]));
    }

    private static double[] Blank(int n)
    {
        double[] none = new double[n];
        Array.Fill(none, double.NaN);
        return none;
    }

    private static void Check(NightConditionsRequest request)
    {
        int n = request.Stars.Count, stars = request.Stars.Sum();
        void Same(int given, int wanted, string name)
        {
            if (given != wanted)
            {
                throw new InputException("night-conditions.lengths", $"{name} has {given} values; {wanted} are needed.", name);
            }
        }

        Same(request.TimeH.Length, n, "time");
        Same(request.Airmass.Length, n, "airmass");
        Same(request.AltitudeDeg.Length > 0 ? request.AltitudeDeg.Length : n, n, "altitude");
        foreach ((double[] column, string name) in new[]
        {
            (request.ProfileFwhm, "profile_fwhm"), (request.SigmaMajor, "sigma_major"), (request.SigmaMinor, "sigma_minor"),
            (request.PositionAngleDeg, "position_angle"),
            (request.EllipticityUncertainty, "ellipticity_uncertainty"), (request.Snr, "snr"),
            (request.Flags, "flags"),
        })
        {
            Same(column.Length, stars, name);
        }

        foreach (double airmass in request.Airmass.Where(x => !double.IsNaN(x)))
        {
            InputException.RequireRange(airmass, 0.99, 40, "airmass", string.Empty);
        }

        if (request.Temperature.Length > 0)
        {
            Same(request.Temperature.Length, n, "temperature");
        }

        Same(request.RunFocus.Length, request.RunTimeH.Length, "run_focus");
        Same(request.RunFocusUncertainty.Length, request.RunTimeH.Length, "run_focus_uncertainty");
        for (int k = 0; k < n; k++)
        {
            if (!double.IsFinite(request.TimeH[k]) || (k > 0 && request.TimeH[k] < request.TimeH[k - 1]))
            {
                throw new InputException("night-conditions.times", "Times must be numbers that do not go back. Give the frames in order of time.", "time");
            }
        }

        if (n > 1 && request.TimeH[^1] - request.TimeH[0] <= 0)
        {
            throw new InputException("night-conditions.times", "All frames have the same time. Give the start of each exposure.", "time");
        }
    }
}
