using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>From a frame to the profile across the spectrum in every bin along it.</summary>
/// <remarks>Background from both sides and a profile that neighbors share, against which outliers show: the idea of optimal
/// extraction, Horne 1986, PASP 98, 609.</remarks>
public static class SpectrumReduction
{
    /// <summary>Reduces one frame.</summary>
    [EngineTask("color_focus.reduce")]
    public static ReducedSpectrum Reduce(SpectrumRequest request, RunContext context) =>
        Reduce(request.Frame ?? throw new InputException("color-focus.frame", "No frame was handed over. Give the frame of a spectrum.", "frame"), request,
            context);

    /// <summary>Reduces one frame.</summary>
    public static ReducedSpectrum Reduce(Frame frame, SpectrumRequest request, RunContext context)
    {
        (SpectrumImage image, TraceFinder trace, int first, int end) = Locate(frame, request);
        context.Cancel.ThrowIfCancellationRequested();
        int half = request.HalfWindow > 0 ? request.HalfWindow : WindowFor(trace);
        return Extract(image, trace, first, end, half, request);
    }

    internal static int WindowFor(TraceFinder trace) => (int)Math.Ceiling(3.6 * trace.WideHalfWidth) + 5;

    internal static (SpectrumImage Image, TraceFinder Trace, int First, int End) Locate(Frame frame, SpectrumRequest request)
    {
        SpectrumImage image = SpectrumImage.From(frame, request.Axis);
        (int first, int end) = request.Columns.Length == 2 ? (request.Columns[0], Math.Min(request.Columns[1], image.Width)) : (0, image.Width);
        if (request.Columns.Length is not (0 or 2) || first < 0 || end - first < 64 || image.Height < 16)
        {
            throw new InputException("color-focus.too-small",
                $"The part of {frame.Name} that is to be measured has {end - first} columns and {image.Height} rows; at least 64 x 16 are needed. Widen the " +
                    "column range or name the right axis.", "columns", frame.Name);
        }

        InputException.RequireRange(request.Bins, 8, 2000, "bins", "");
        var trace = new TraceFinder(image, first, end);
        trace.Find(request.RowPx);
        return (image, trace, first, end);
    }

    internal static ReducedSpectrum Extract(SpectrumImage image, TraceFinder trace, int first, int end, int half, SpectrumRequest request)
    {
        List<Note> notes = [.. trace.Notes];
        string name = image.Frame.Name;
        ProfileWindow window = ProfileWindow.Along(image, trace, first, end, half, Math.Min(request.Bins, (end - first) / 4), notes);
        SpectrumPixels pixels = SpectrumPixels.Take(image, trace, window, Math.Max(12, half), notes);
        pixels.LeaveOutClipped((int)Math.Ceiling(1.5 * trace.WideHalfWidth) + 1, notes);
        double gain = image.Frame.GainElectronsPerAdu;
        if (!double.IsFinite(gain) || gain <= 0)
        {
            gain = SharedProfile.EstimateGain(pixels);
            notes.Add(ColorFocusNotes.GainEstimated.Say($"No gain was given; the scatter of the spectrum says {gain:0.00} electrons/adu.", name));
        }

        int rejected = 0;
        for (int turn = 0; turn < 2; turn++)
        {
            rejected += SharedProfile.RejectOutliers(pixels, gain);
        }

        if (rejected > 0)
        {
            notes.Add(ColorFocusNotes.CosmicRays.Say($"{rejected} pixels on the spectrum were left out as cosmic rays or hot pixels.", name));
        }

        (double[] flux, double[] fluxError) = SharedProfile.ColumnFlux(pixels, gain);
        bool[] inLine = SpectralLines.Find(flux, fluxError, request.LineDepth, name, notes);
        var bins = new ProfileBins(pixels, flux, inLine, gain);
        return new ReducedSpectrum
        {
            Name = name,
            FirstColumn = first,
            TracePx = window.TraceY,
            Flux = flux,
            FluxUncertainty = fluxError,
            Background = pixels.Background,
            Masked = [.. pixels.Bad.Zip(inLine, (bad, line) => bad || line)],
            InLine = inLine,
            BinColumn = bins.Center,
            WidthPx = bins.Width,
            WidthUncertaintyPx = bins.WidthError,
            SignalToNoise = bins.SignalToNoise,
            Profile = bins.Profile,
            NoiseVariance = bins.NoiseVariance,
            FirstRow = window.FirstRow,
            SubpixelMean = bins.SubpixelMean,
            SubpixelVariance = bins.SubpixelVariance,
            GainElectronsPerAdu = gain,
            BackgroundSigmaAdu = pixels.Sigma,
            TracePolynomial = trace.Polynomial,
            TraceScatterPx = trace.Scatter,
            RejectedPixels = rejected,
            Notes = notes,
        };
    }
}
