using StarAssay.Engine.Measurements.ColorFocus;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge.Tasks;

/// <summary>Spectra and color focus.</summary>
[TaskList]
internal static class ColorFocusTasks
{
    [EngineTask("color_focus.reduce")]
    public static ReducedSpectrum Reduce(TaskInput input, RunContext context) =>
        SpectrumReduction.Reduce(input.Frame("frame"), input.Request<SpectrumRequest>(), context);

    [EngineTask("color_focus.measure")]
    public static ColorFocusResult Measure(TaskInput input, RunContext context) =>
        ColorFocusMeasurement.Measure(input.Frames("frame"), input.Request<ColorFocusRequest>(), context);
}
