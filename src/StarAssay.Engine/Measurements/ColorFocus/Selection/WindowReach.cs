using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Which colors the window of the profiles can hold.</summary>
internal static class WindowReach
{
    // Share of the window's rows that a disc may cover: beside it the background must be seen (our own choice).
    private const double Most = 0.8;

    /// <summary>Places in a list of bins of those that it holds; the others are left out of the input, which is said.</summary>
    /// <remarks>Of a disc without an edge in sight any size will do, and a fit wanders off to a large one.</remarks>
    /// <param name="input">Reduced spectra.</param>
    /// <param name="request">Optics.</param>
    /// <param name="bins">Bins that are measured.</param>
    /// <param name="nearestUm">Of each its defocus in the frame where that is least, as a first fit has it.</param>
    public static int[] Keep(ColorFocusInput input, ColorFocusRequest request, int[] bins, double[] nearestUm)
    {
        int rows = input.Spectra[0].Profile.GetLength(1);
        double widest = Most * rows * input.PitchUm * request.FocalRatio;
        int[] kept = [.. Enumerable.Range(0, bins.Length).Where(k => Math.Abs(nearestUm[k]) < widest)];
        if (kept.Length == bins.Length)
        {
            return kept;
        }

        // One sentence for all of them, also of earlier turns.
        input.BeyondWindow.AddRange(bins.Except(kept.Select(k => bins[k])));
        int[] wide = [.. input.BeyondWindow];
        double[] nm = [.. wide.Select(j => input.Nm[j])];
        bool one = wide.Length == 1;
        string which = $"{wide.Length} of {kept.Length + wide.Length} bins, between {nm.Min():0} and {nm.Max():0} nm, {(one ? "is" : "are")} blurred over " +
            $"most of the {rows} rows that the window holds{(input.Frames > 1 ? " in every frame" : string.Empty)}";
        if (kept.Length < BinSelection.Fewest)
        {
            throw new CannotMeasureException("color-focus.beyond-window", $"{which}. Take spectra nearer to focus.", input.Spectra[0].Name);
        }

        foreach (int j in wide)
        {
            input.Used[j] = false;
        }

        input.Notes.RemoveAll(n => n.Code == ColorFocusNotes.BeyondWindow.Code);
        input.Notes.Add(ColorFocusNotes.BeyondWindow.Say($"{which}, and {(one ? "was" : "were")} left out. Take spectra nearer to their focus."));
        return kept;
    }
}
