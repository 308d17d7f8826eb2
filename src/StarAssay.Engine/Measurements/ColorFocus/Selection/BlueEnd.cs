using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Where the star's light ends in the violet: from twice that wavelength on, the second order lies on the first.</summary>
internal static class BlueEnd
{
    /// <summary>Below this no light is expected through air and glass: common practice, no source.</summary>
    public const double Never = 340;

    // Light per column that counts, as a share of the brightest: below, what comes again in second order is a thousandth.
    private const double Least = 0.004;

    /// <summary>Shortest wavelength with light in a frame, nm; NaN where the frame ends before the light does.</summary>
    public static double Find(Frame frame, ColorFocusRequest request, RunContext context)
    {
        double[] nm = request.WavelengthsNm;
        int[] violet = [.. Enumerable.Range(0, nm.Length).Where(x => nm[x] >= Never - 15 && nm[x] <= 700)];
        if (violet.Length < 64 || violet.Min(x => nm[x]) > 372)
        {
            return double.NaN;
        }

        ReducedSpectrum s;
        try
        {
            s = SpectrumReduction.Reduce(frame, request.Reduction with { Columns = [violet[0], violet[^1] + 1], Bins = 16, LineDepth = 0 }, context);
        }
        catch (StarAssayException)
        {
            return double.NaN; // the trace cannot be followed that far: nothing is known
        }

        double[] wave = nm[violet[0]..(violet[^1] + 1)];
        double[] smooth = [.. s.Flux.Select((_, c) =>
            Numerics.Robust.Median(s.Flux.AsSpan(Math.Max(0, c - 3), Math.Min(s.Flux.Length, c + 4) - Math.Max(0, c - 3))))];
        double top = smooth.Max();
        int[] lit = [.. Enumerable.Range(0, smooth.Length).Where(c => smooth[c] > Math.Max(Least * top, 2 * s.FluxUncertainty[c]))];
        if (lit.Length == 0)
        {
            return double.NaN;
        }

        // The image of a color is as wide along the dispersion as across.
        double blur = 1.5 * Numerics.Robust.Median(s.WidthPx.Where(double.IsFinite)) * Math.Abs(wave[^1] - wave[0]) / (wave.Length - 1);
        double shortest = lit.Min(c => wave[c]);
        return shortest > wave.Min() + blur ? Math.Max(shortest, Never) : double.NaN;
    }
}
