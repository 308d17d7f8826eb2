using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>Focus of every color from one spectrum of a star or from a focus run of them.</summary>
public static class ColorFocusMeasurement
{
    /// <summary>Measures the curve.</summary>
    [Measurement("color_focus", "Color focus")]
    public static ColorFocusResult Measure(ColorFocusRequest request, RunContext context) => Measure(request.Frames, request, context);

    /// <summary>Measures one spectrum, or a focus run of them.</summary>
    public static ColorFocusResult Measure(IReadOnlyList<Frame> frames, ColorFocusRequest request, RunContext context)
    {
        Check(frames, request);
        context.Report(0.02, "reducing spectra");
        ColorFocusInput input = ColorFocusPreparation.Prepare(frames, request, context);
        context.Report(0.4, "fitting profiles");
        ColorFocusResult curve = frames.Count > 1 ? FocusRunFit.Fit(input, request, context) : SingleSpectrumFit.Fit(input, request, context);
        return request.BandNm.Length > 0 ? WithMerit(curve, request, context) : curve;
    }

    /// <summary>Figures of merit of the band; where the curve does not cover it there are none, which is said.</summary>
    private static ColorFocusResult WithMerit(ColorFocusResult curve, ColorFocusRequest request, RunContext context)
    {
        double[] used = [.. curve.WavelengthNm.Where((_, i) => curve.Used[i])];
        if (used.Length > 1 && FiguresOfMerit.Covers(used, request.BandNm.Min(), request.BandNm.Max()))
        {
            return curve with { BandMerit = CurveFigures.Merit(curve, request, context) };
        }

        string reach = used.Length > 1 ? $"runs from {used.Min():0} to {used.Max():0} nm" : "has too few bins";
        Note note = ColorFocusNotes.BandNotCovered.Say(
            $"The band {request.BandNm.Min():0} to {request.BandNm.Max():0} nm is not covered by the curve, which {reach}; no figures of merit are given " +
                "for it. Name a band inside it.");
        return curve with { Notes = [.. curve.Notes, note] };
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
        WavelengthRange.Require(request.LimitsNm, "limits");
        if (request.BandNm.Length > 0)
        {
            WavelengthRange.Require(request.BandNm, "band");
        }

        double pitch = Pitch(frames, request);
        InputException.RequireRange(pitch, 0.3, 200, "pitch", "um");
        if (frames.Count > 1)
        {
            if (request.PositionsUm.Length != frames.Count || request.PositionsUm.Any(p => !double.IsFinite(p)))
            {
                throw new InputException("color-focus.positions",
                    $"{frames.Count} frames need {frames.Count} focuser positions in um, {request.PositionsUm.Count(double.IsFinite)} were given. Give one " +
                        "for each frame, growing away from the objective.", "positions");
            }

            if (request.PositionsUm.Distinct().Count() < 3)
            {
                throw new InputException("color-focus.positions",
                    "A focus run needs at least three different positions. Take more frames, or measure one spectrum by itself.", "positions");
            }
        }

        int along = request.Reduction.Axis == DispersionAxis.X ? frames[0].Width : frames[0].Height;
        if (request.WavelengthsNm.Length != along)
        {
            throw new InputException("color-focus.wavelengths",
                $"The wavelength solution is for {request.WavelengthsNm.Length} columns, the frame has {along}. Calibrate on a frame of the same size and " +
                    "binning.", "wavelengths", frames[0].Name);
        }

        if (request.WavelengthModesNm.Length % along != 0)
        {
            throw new InputException("color-focus.wavelengths",
                $"The modes of the wavelength scale hold {request.WavelengthModesNm.Length} values, which {along} columns do not divide.", "wavelengths",
                    frames[0].Name);
        }

        foreach (Frame f in frames)
        {
            if (f.Width != frames[0].Width || f.Height != frames[0].Height)
            {
                throw new InputException("color-focus.sizes",
                    $"{f.Name} has {f.Width} x {f.Height} pixels, {frames[0].Name} {frames[0].Width} x {frames[0].Height}. A focus run needs frames of one " +
                        "size.", "frames", f.Name);
            }
        }
    }

    internal static double Pitch(IReadOnlyList<Frame> frames, ColorFocusRequest request) =>
        double.IsFinite(request.PitchUm) ? request.PitchUm : frames[0].PitchUm;
}
