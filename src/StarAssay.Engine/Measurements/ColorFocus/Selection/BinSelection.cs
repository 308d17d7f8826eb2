using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Which bins are measured: in the band, bright enough, and free of the second diffraction order.</summary>
internal sealed class BinSelection
{
    // Our own choices: flux over noise of a bin, in how many frames of a run, and how much of its columns must be left.
    private const double LeastSignalToNoise = 12;
    private const double LeastShareOfFrames = 0.7;
    private const double LeastShareOfColumns = 0.35;

    /// <summary>Fewest bins that make a curve; our own choice.</summary>
    internal const int Fewest = 8;

    private BinSelection(int bins)
    {
        Used = new bool[bins];
        Removable = new bool[bins];
    }

    /// <summary>Bins that are measured.</summary>
    public bool[] Used { get; }

    /// <summary>Bins under the second order from which it can be taken.</summary>
    public bool[] Removable { get; }

    /// <summary>What the lines say of the second order; null where none can come.</summary>
    public SecondOrder? Order { get; private init; }

    /// <summary>From here on it may overlap, nm; infinite where none can.</summary>
    public double SecondOrderFromNm { get; private init; }

    /// <summary>Chooses the bins and says what was left out.</summary>
    public static BinSelection Choose(ReducedSpectrum[] spectra, double[] nm, ColorFocusRequest request, List<Note> notes)
    {
        int count = spectra.Length, bins = nm.Length, first = spectra[0].FirstColumn;
        double secondOrder = SecondOrderFrom(request);
        SecondOrder? order = double.IsFinite(secondOrder) && nm.Max() > secondOrder ? SecondOrder.Find(spectra, request.WavelengthsNm, first, secondOrder)
            : null;
        var chosen = new BinSelection(bins) { Order = order, SecondOrderFromNm = secondOrder };
        bool[] used = chosen.Used, removable = chosen.Removable;
        int faint = 0, overlapped = 0;
        for (int j = 0; j < bins; j++)
        {
            bool inBand = nm[j] >= request.MinNm && nm[j] <= request.MaxNm;
            bool clean = nm[j] < secondOrder || order is { Absent: true };
            // The weakest frame decides: a bin must be measurable in most of the run.
            int strong = spectra.Count(s => s.SignalToNoise[j] > LeastSignalToNoise);
            bool bright = strong > LeastShareOfFrames * count;
            double keptShare = KeptShare(spectra[0], j, bins);
            used[j] = inBand && clean && bright && keptShare > LeastShareOfColumns;
            faint += inBand && clean && !bright ? 1 : 0;
            overlapped += inBand && !clean ? 1 : 0;
            removable[j] = inBand && !clean && bright && keptShare > LeastShareOfColumns && order is { Seen: true } && nm[j] / 2 > nm.Min();
        }

        if (faint > 0)
        {
            notes.Add(ColorFocusNotes.FaintBins.Say($"{faint} of {bins} bins {(faint == 1 ? "has" : "have")} a signal to noise below {LeastSignalToNoise} " +
                $"and {(faint == 1 ? "was" : "were")} left out. Expose longer or bin more coarsely to reach the ends of the spectrum."));
        }

        if (overlapped > 0)
        {
            string found = order is { Seen: true }
                ? $"The first order's own lines are seen again at twice their wavelength: the second order has {100 * order.Ratio:0} +- " +
                    $"{100 * order.Error:0} % of the first's efficiency."
                : "Whether it is there, its lines do not tell.";
            notes.Add(ColorFocusNotes.SecondOrder.Say(
                $"From {secondOrder:0} nm on, the second order of the violet light (from {secondOrder / 2:0} nm) falls on the first. {found} {overlapped} " +
                    "bins beyond are not measured with the others; a filter that blocks the violet would open them."));
        }
        else if (order is { Absent: true })
        {
            notes.Add(ColorFocusNotes.NoSecondOrder.Say(
                $"The second order of the violet light could lie beyond {secondOrder:0} nm; none of its lines is seen there ({100 * order.Ratio:0.0} +- " +
                    $"{100 * order.Error:0.0} % of the first order's efficiency), so the columns were kept."));
        }

        if (used.Count(u => u) < Fewest)
        {
            throw new CannotMeasureException("color-focus.too-faint",
                $"Only {used.Count(u => u)} bins of the spectrum can be used between {request.MinNm:0} and {request.MaxNm:0} nm; at least {Fewest} are " +
                    "needed. Expose longer, or check the wavelength solution.", spectra[0].Name);
        }

        return chosen;
    }

    private static double KeptShare(ReducedSpectrum s, int bin, int bins)
    {
        int n = s.Flux.Length, c0 = bin * n / bins, c1 = (bin + 1) * n / bins, kept = 0;
        for (int c = c0; c < c1; c++)
        {
            kept += s.Masked[c] ? 0 : 1;
        }

        return kept / (double)Math.Max(1, c1 - c0);
    }

    private static double SecondOrderFrom(ColorFocusRequest request) =>
        request.OrderFilter || request.Disperser == Disperser.Prism ? double.PositiveInfinity
        : double.IsFinite(request.ShortestLightNm) ? 2 * request.ShortestLightNm
        : 2 * 380.0; // common practice, no source: glass and cover windows pass little below 380 nm
}
