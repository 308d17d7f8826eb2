using StarAssay.Engine.Imaging;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Focus of every color from one spectrum of a star or from a focus run of them.</summary>
public static class ColorFocusMeasurement
{
    /// <summary>Measures the curve.</summary>
    public static ColorFocusResult Measure(IReadOnlyList<Frame> frames, ColorFocusRequest request, RunContext context)
    {
        Check(frames, request);
        context.Report(0.02, "reducing spectra");
        ColorFocusInput input = ColorFocusInput.Prepare(frames, request, context);
        context.Report(0.4, "fitting profiles");
        return frames.Count > 1 ? FocusRunFit.Fit(input, request, context) : SingleSpectrumFit.Fit(input, request, context);
    }

    private static void Check(IReadOnlyList<Frame> frames, ColorFocusRequest request)
    {
        if (frames.Count == 0)
        {
            throw new InputException("color-focus.no-frames", "No spectrum was given. Give one frame, or a focus run of at least three.", "frames");
        }

        InputException.RequireRange(request.FocalRatio, 1.5, 100, "focal_ratio", "");
        InputException.RequireRange(request.Obstruction, 0, 0.8, "obstruction", "");
        InputException.RequireRange(request.Replicates, 20, 5000, "replicates", "");
        double pitch = Pitch(frames, request);
        InputException.RequireRange(pitch, 0.3, 200, "pitch_um", "um");
        if (frames.Count > 1)
        {
            if (request.PositionUm.Length != frames.Count || request.PositionUm.Any(p => !double.IsFinite(p)))
            {
                throw new InputException("color-focus.positions",
                    $"{frames.Count} frames need {frames.Count} focuser positions in um, {request.PositionUm.Count(double.IsFinite)} were given. Give one for each frame, growing away from the objective.", "position_um");
            }

            if (request.PositionUm.Distinct().Count() < 3)
            {
                throw new InputException("color-focus.positions",
                    "A focus run needs at least three different positions. Take more frames, or measure one spectrum by itself.", "position_um");
            }
        }

        int along = request.Reduction.Axis == DispersionAxis.X ? frames[0].Width : frames[0].Height;
        if (request.WavelengthNm.Length != along)
        {
            throw new InputException("color-focus.wavelengths",
                $"The wavelength solution is for {request.WavelengthNm.Length} columns, the frame has {along}. Calibrate on a frame of the same size and binning.", "wavelength_nm", frames[0].Name);
        }

        foreach (Frame f in frames)
        {
            if (f.Width != frames[0].Width || f.Height != frames[0].Height)
            {
                throw new InputException("color-focus.sizes",
                    $"{f.Name} has {f.Width} x {f.Height} pixels, {frames[0].Name} {frames[0].Width} x {frames[0].Height}. A focus run needs frames of one size.", "frames", f.Name);
            }
        }
    }

    internal static double Pitch(IReadOnlyList<Frame> frames, ColorFocusRequest request) =>
        double.IsFinite(request.PitchUm) ? request.PitchUm : frames[0].PitchUm;
}

/// <summary>Reduced spectra lined up, bins with their wavelengths, and what is left out.</summary>
internal sealed class ColorFocusInput
{
    public required ReducedSpectrum[] Spectra { get; init; }

    public required double[] ColumnShift { get; init; }

    public required double[] Nm { get; init; }

    public required bool[] Used { get; init; }

    public required double[] RelativeFlux { get; init; }

    public required double PitchUm { get; init; }

    public required double SecondOrderFromNm { get; init; }

    /// <summary>What the lines say of the second order; null where none can come.</summary>
    public required SecondOrder? Order { get; init; }

    /// <summary>Bins under the second order from which it can be taken.</summary>
    public required bool[] Removable { get; init; }

    public required List<Note> Notes { get; init; }

    public int Bins => Nm.Length;

    public int Frames => Spectra.Length;

    public static ColorFocusInput Prepare(IReadOnlyList<Frame> frames, ColorFocusRequest request, RunContext context)
    {
        int count = frames.Count;
        var notes = new List<Note>();
        var located = new (SpectrumImage Image, TraceFinder Trace, int First, int End)[count];
        (int first, int end) = Columns(request);
        SpectrumRequest reduction = request.Reduction with { FirstColumn = first, EndColumn = end };
        RunAll(count, context, i => located[i] = SpectrumReduction.Locate(frames[i], reduction));
        int half = reduction.HalfWindow > 0 ? reduction.HalfWindow : located.Max(l => SpectrumReduction.WindowFor(l.Trace));
        // Every frame of a run must have the same window: the lowest room any trace leaves.
        var spectra = new ReducedSpectrum[count];
        RunAll(count, context, i => spectra[i] = SpectrumReduction.Extract(located[i].Image, located[i].Trace, first, end, half, reduction));
        double[] shift = new double[count];
        if (count > 1)
        {
            int middle = count / 2;
            for (int i = 0; i < count; i++)
            {
                shift[i] = Alignment(spectra[middle].Flux, spectra[i].Flux);
            }

            double zero = shift[0];
            for (int i = 0; i < count; i++)
            {
                shift[i] -= zero;
            }

            if (shift.Any(s => Math.Abs(s) >= 1))
            {
                notes.Add(ColorFocusNotes.PositionsDrift.Say($"The spectra moved by up to {shift.Max(Math.Abs):0} columns along the dispersion during the run and were lined up by their own lines."));
                RunAll(count, context, i =>
                {
                    int s = (int)Math.Round(shift[i]);
                    int f = Math.Clamp(first + s, 0, located[i].Image.Width - 64), e = Math.Clamp(end + s, f + 64, located[i].Image.Width);
                    if (e - f == end - first)
                    {
                        spectra[i] = SpectrumReduction.Extract(located[i].Image, located[i].Trace, f, e, half, reduction);
                    }
                });
            }
        }

        int bins = spectra[0].BinColumn.Length;
        var nm = new double[bins];
        double[] wave = request.WavelengthNm;
        for (int j = 0; j < bins; j++)
        {
            double x = Math.Clamp(spectra[0].BinColumn[j], 0, wave.Length - 1.001);
            int k = (int)x;
            nm[j] = wave[k] + ((x - k) * (wave[k + 1] - wave[k]));
        }

        double pitch = ColorFocusMeasurement.Pitch(frames, request);
        var relative = RelativeLight(spectra[count / 2], nm, first);
        double secondOrder = SecondOrderFrom(request);
        SecondOrder? order = double.IsFinite(secondOrder) && nm.Max() > secondOrder ? SecondOrder.Find(spectra, wave, first, secondOrder) : null;
        var removable = new bool[bins];
        var used = new bool[bins];
        int faint = 0, overlapped = 0;
        for (int j = 0; j < bins; j++)
        {
            bool inBand = nm[j] >= request.MinNm && nm[j] <= request.MaxNm;
            bool clean = nm[j] < secondOrder || order is { Absent: true };
            // The weakest frame decides: a bin must be measurable in most of the run.
            int strong = spectra.Count(s => s.SignalToNoise[j] > 12);
            bool bright = strong > 0.7 * count;
            double keptShare = KeptShare(spectra[0], j, bins);
            used[j] = inBand && clean && bright && keptShare > 0.35;
            faint += inBand && clean && !bright ? 1 : 0;
            overlapped += inBand && !clean ? 1 : 0;
            removable[j] = inBand && !clean && bright && keptShare > 0.35 && order is { Seen: true } && nm[j] / 2 > nm.Min();
        }

        if (faint > 0)
        {
            notes.Add(ColorFocusNotes.FaintBins.Say($"{faint} of {bins} bins have a signal to noise below 12 and were left out. Expose longer or bin more coarsely to reach the ends of the spectrum."));
        }

        if (overlapped > 0)
        {
            string found = order is { Seen: true }
                ? $"The first order's own lines are seen again at twice their wavelength: the second order has {100 * order.Ratio:0} +- {100 * order.Error:0} % of the first's efficiency."
                : "Whether it is there, its lines do not tell.";
            notes.Add(ColorFocusNotes.SecondOrder.Say(
                $"From {secondOrder:0} nm on, the second order of the violet light (from {secondOrder / 2:0} nm) falls on the first. {found} {overlapped} bins beyond are not measured with the others; a filter that blocks the violet would open them."));
        }
        else if (order is { Absent: true })
        {
            notes.Add(ColorFocusNotes.NoSecondOrder.Say(
                $"The second order of the violet light could lie beyond {secondOrder:0} nm; none of its lines is seen there ({100 * order.Ratio:0.0} +- {100 * order.Error:0.0} % of the first order's efficiency), so the columns were kept."));
        }

        if (used.Count(u => u) < 8)
        {
            throw new CannotMeasureException("color-focus.too-faint",
                $"Only {used.Count(u => u)} bins of the spectrum can be used between {request.MinNm:0} and {request.MaxNm:0} nm; at least 8 are needed. Expose longer, or check the wavelength solution.", frames[0].Name);
        }

        foreach (ReducedSpectrum s in spectra)
        {
            notes.AddRange(s.Notes);
        }

        return new ColorFocusInput
        {
            Spectra = spectra,
            ColumnShift = shift,
            Nm = nm,
            Used = used,
            RelativeFlux = relative,
            PitchUm = pitch,
            SecondOrderFromNm = secondOrder,
            Order = order,
            Removable = removable,
            Notes = Merge(notes),
        };
    }

    /// <summary>Profile blocks of one frame and bin list.</summary>
    public ProfileBlock Block(ProfileGrid[] grids, int frame, int bin, ColorFocusRequest request, double focalRatio, double[]? foreign = null)
    {
        ReducedSpectrum s = Spectra[frame];
        int rows = s.Profile.GetLength(1);
        var data = new double[rows];
        var noise = new double[rows];
        for (int r = 0; r < rows; r++)
        {
            data[r] = s.Profile[bin, r] - (foreign?[r] ?? 0);
            noise[r] = s.NoiseVariance[bin, r] + (Math.Max(foreign?[r] ?? 0, 0) / s.GainElectronsPerAdu);
        }

        double instrument = request.InstrumentBlurUm / PitchUm;
        var model = new ProfileModel(grids[frame], DefocusTransfer.For(request.Obstruction), Nm[bin], focalRatio, PitchUm,
            s.SubpixelVariance[bin] + (instrument * instrument));
        return new ProfileBlock(model, data, noise, s.SubpixelMean[bin], s.GainElectronsPerAdu);
    }

    /// <summary>How uneven light bends each bin's profile, as a focus shift in um: a line takes chords of neighboring colors' discs out
    /// of the column, which makes its profile narrower or wider.</summary>
    /// <remarks>Size only, from what the flux departs from the mean of its two neighbors half a disc away, times the distance from
    /// focus: colors that all frames show on one side of focus suffer, those amid the run do not. It is used as an error.</remarks>
    public double[] LineBend(int[] bins, double[] focusUm, double[] positionUm, double focalRatio, double seeingPx)
    {
        var bend = new double[bins.Length];
        for (int i = 0; i < Frames; i++)
        {
            ReducedSpectrum s = Spectra[i];
            int n = s.Flux.Length;
            double At(double c) => Mean(s.Flux, (int)Math.Clamp(Math.Round(c), 0, n - 1));
            for (int k = 0; k < bins.Length; k++)
            {
                double defocus = positionUm[i] - focusUm[k];
                double reach = Math.Sqrt(Math.Pow(0.25 * defocus / focalRatio / PitchUm, 2) + Math.Pow(0.5 * seeingPx, 2));
                double sum = 0;
                int kept = 0;
                for (int c = bins[k] * n / Bins; c < (bins[k] + 1) * n / Bins; c++)
                {
                    double here = Mean(s.Flux, c);
                    if (!s.ColumnMasked[c] && here > 0)
                    {
                        sum += ((0.5 * (At(c - reach) + At(c + reach))) / here) - 1;
                        kept++;
                    }
                }

                bend[k] += kept > 0 ? defocus * sum / kept / Frames : 0;
            }
        }

        // The sign of the effect changes within a line: neighbors share its size.
        return [.. bend.Select((_, k) => Math.Sqrt(bend[Math.Max(0, k - 1)..Math.Min(bend.Length, k + 2)].Average(v => v * v)))];
    }

    private static double Mean(double[] flux, int at)
    {
        double sum = 0;
        int a = Math.Max(0, at - 2), b = Math.Min(flux.Length - 1, at + 2);
        for (int c = a; c <= b; c++)
        {
            sum += flux[c];
        }

        return sum / (b - a + 1);
    }

    public ProfileGrid[] Grids()
    {
        var made = new Dictionary<(int, int), ProfileGrid>();
        return [.. Spectra.Select(s =>
        {
            int rows = s.Profile.GetLength(1);
            if (!made.TryGetValue((s.FirstRow, rows), out ProfileGrid? grid))
            {
                grid = new ProfileGrid(s.FirstRow, rows, 2 * rows); // up to one cycle a pixel
                made.Add((s.FirstRow, rows), grid);
            }

            return grid;
        })];
    }

    /// <summary>Distance of the sagittal focus or of the reference curve, to be added to what was measured.</summary>
    public (double[] Removed, double[] Error) Removal(ColorFocusRequest request)
    {
        var removed = new double[Bins];
        var error = new double[Bins];
        if (request.ReferenceCurveNm.Length > 1)
        {
            for (int j = 0; j < Bins; j++)
            {
                removed[j] = -Interpolate(request.ReferenceCurveNm, request.ReferenceCurveUm, Nm[j]);
                error[j] = request.ReferenceCurveErrorUm.Length == request.ReferenceCurveNm.Length ? Interpolate(request.ReferenceCurveNm, request.ReferenceCurveErrorUm, Nm[j]) : 0;
            }

            Notes.Add(ColorFocusNotes.ReferenceRemoved.Say("The curve of the reference telescope, measured with the same spectrograph, was subtracted; it takes the spectrograph's and grating's own focus error with it."));
        }
        else if (request.Disperser == Disperser.ConvergingGrating)
        {
            if (double.IsFinite(request.GratingLinesPerMm) && double.IsFinite(request.GratingDistanceMm))
            {
                var grating = new Grating(request.GratingLinesPerMm, request.GratingDistanceMm);
                for (int j = 0; j < Bins; j++)
                {
                    removed[j] = grating.SagittalShorteningUm(Nm[j]);
                }

                Notes.Add(ColorFocusNotes.GeometryRemoved.Say(
                    $"A grating of {request.GratingLinesPerMm:0} lines/mm at {request.GratingDistanceMm:0.#} mm shortens the focus across the dispersion by {removed.Min():0} to {removed.Max():0} um; this was removed."));
            }
            else
            {
                Notes.Add(ColorFocusNotes.GeometryUnknown.Say(
                    "A grating in the converging beam shortens the focus toward the red, by as much as a lens errs; without its lines per mm and distance, or a reference spectrum through a mirror telescope, that error stays in the curve."));
            }
        }
        else
        {
            Notes.Add(ColorFocusNotes.InstrumentIncluded.Say(
                "The spectrograph's own focus error with color is part of the curve; subtract a reference spectrum taken through a mirror telescope to remove it."));
        }

        return (removed, error);
    }

    public static double Interpolate(double[] x, double[] y, double at)
    {
        int n = x.Length;
        bool rising = x[^1] > x[0];
        int lo = 0, hi = n - 1;
        while (hi - lo > 1)
        {
            int mid = (lo + hi) / 2;
            if (x[mid] <= at == rising)
            {
                lo = mid;
            }
            else
            {
                hi = mid;
            }
        }

        double t = Math.Clamp((at - x[lo]) / (x[hi] - x[lo]), 0, 1);
        return y[lo] + (t * (y[hi] - y[lo]));
    }

    private static void RunAll(int count, RunContext context, Action<int> action)
    {
        try
        {
            Parallel.For(0, count, context.Parallel, action);
        }
        catch (AggregateException e)
        {
            // The first of our own errors says more than a bundle of them.
            Exception inner = e.InnerExceptions.FirstOrDefault(x => x is StarAssayException) ?? e.InnerExceptions[0];
            System.Runtime.ExceptionServices.ExceptionDispatchInfo.Throw(inner);
        }
    }

    private static List<Note> Merge(List<Note> notes)
    {
        // Nine frames say the same things nine times: one note a kind is enough, with the number of frames.
        var result = new List<Note>();
        foreach (IGrouping<string, Note> group in notes.GroupBy(n => n.Code, StringComparer.Ordinal))
        {
            Note head = group.First();
            int n = group.Count();
            result.Add(n == 1 ? head : head with { Text = $"{head.Text} (The same in {n} frames; this is {(head.Subject.Length > 0 ? head.Subject : "the first")}.)" });
        }

        return result;
    }

    private static (int First, int End) Columns(ColorFocusRequest request)
    {
        double[] w = request.WavelengthNm;
        int first = w.Length, end = 0;
        for (int i = 0; i < w.Length; i++)
        {
            if (w[i] >= request.MinNm && w[i] <= request.MaxNm)
            {
                first = Math.Min(first, i);
                end = Math.Max(end, i + 1);
            }
        }

        first = Math.Max(first, request.Reduction.FirstColumn);
        end = request.Reduction.EndColumn > 0 ? Math.Min(end, request.Reduction.EndColumn) : end;
        return end - first >= 64
            ? (first, end)
            : throw new InputException("color-focus.band", $"Between {request.MinNm:0} and {request.MaxNm:0} nm lie {Math.Max(0, end - first)} columns; at least 64 are needed. Check the wavelength solution and the band.", "min_nm");
    }

    private static double KeptShare(ReducedSpectrum s, int bin, int bins)
    {
        int n = s.Flux.Length, c0 = bin * n / bins, c1 = (bin + 1) * n / bins, kept = 0;
        for (int c = c0; c < c1; c++)
        {
            kept += s.ColumnMasked[c] ? 0 : 1;
        }

        return kept / (double)Math.Max(1, c1 - c0);
    }

    private static double[] RelativeLight(ReducedSpectrum s, double[] nm, int first)
    {
        int bins = nm.Length, n = s.Flux.Length;
        var light = new double[bins];
        for (int j = 0; j < bins; j++)
        {
            int c0 = j * n / bins, c1 = (j + 1) * n / bins;
            double sum = 0;
            for (int c = c0; c < c1; c++)
            {
                sum += s.Flux[c];
            }

            int a = Math.Max(0, j - 1), b = Math.Min(bins - 1, j + 1);
            double perColumn = Math.Abs(nm[b] - nm[a]) / Math.Max(1e-9, Math.Abs(s.BinColumn[b] - s.BinColumn[a]));
            light[j] = Math.Max(0, sum / (c1 - c0) / Math.Max(perColumn, 1e-9));
        }

        _ = first;
        double top = light.Max();
        return [.. light.Select(v => top > 0 ? v / top : 0)];
    }

    private static double SecondOrderFrom(ColorFocusRequest request) =>
        request.OrderFilter || request.Disperser == Disperser.Prism ? double.PositiveInfinity
        : double.IsFinite(request.ShortestLightNm) ? 2 * request.ShortestLightNm
        : 2 * 380.0; // common practice, no source: glass and cover windows pass little below 380 nm

    private static double Alignment(double[] a, double[] b)
    {
        // Cross-correlation of the lines: logarithm minus its running mean.
        double[] p = Lines(a), q = Lines(b);
        int n = Math.Min(p.Length, q.Length), reach = Math.Min(60, n / 8);
        double pp = p.Sum(v => v * v), qq = q.Sum(v => v * v);
        if (!(pp > 0 && qq > 0))
        {
            return 0;
        }

        double best = double.NegativeInfinity;
        int at = 0;
        for (int lag = -reach; lag <= reach; lag++)
        {
            double sum = 0;
            for (int i = Math.Max(0, -lag); i < Math.Min(n, n - lag); i++)
            {
                sum += p[i] * q[i + lag];
            }

            if (sum > best)
            {
                best = sum;
                at = lag;
            }
        }

        return best / Math.Sqrt(pp * qq) > 0.5 ? at : 0;
    }

    private static double[] Lines(double[] flux)
    {
        int n = flux.Length, reach = Math.Max(10, n / 40);
        double top = flux.Max();
        var log = new double[n];
        for (int i = 0; i < n; i++)
        {
            log[i] = Math.Sqrt(Math.Max(flux[i], 0) / Math.Max(top, 1e-12));
        }

        var result = new double[n];
        double sum = 0;
        int lo = 0, hi = -1;
        for (int i = 0; i < n; i++)
        {
            while (hi < Math.Min(n - 1, i + reach))
            {
                sum += log[++hi];
            }

            while (lo < i - reach)
            {
                sum -= log[lo++];
            }

            result[i] = log[i] - (sum / (hi - lo + 1));
        }

        return result;
    }
}
