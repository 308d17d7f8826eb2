using StarAssay.Engine.Measurements.ColorFocus;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Simulation;

namespace StarAssay.Bridge.Tasks;

/// <summary>Spectra and color focus.</summary>
[TaskList]
internal static class ColorFocusTasks
{
    [EngineTask("color_focus.reduce")]
    public static ReducedSpectrum Reduce(TaskInput input, RunContext context) =>
        SpectrumReduction.Reduce(input.Frame("frame"), input.Request<SpectrumRequest>(), context);

    [EngineTask("color_focus.calibrate")]
    public static WavelengthSolution Calibrate(TaskInput input, RunContext context) =>
        WavelengthCalibration.Solve(input.Request<WavelengthRequest>() with { Flux = input.Doubles("flux").ToArray() }, context);

    [EngineTask("color_focus.measure")]
    public static ColorFocusResult Measure(TaskInput input, RunContext context) =>
        ColorFocusMeasurement.Measure(input.Frames("frame"), input.Request<ColorFocusRequest>(), context);

    [EngineTask("color_focus.merit")]
    public static MeritResult Merit(TaskInput input, RunContext context)
    {
        MeritRequest request = input.Request<MeritRequest>();
        return FiguresOfMerit.Evaluate(input.Has("replicates") ? request with { ReplicateUm = input.Doubles("replicates").ToArray() } : request, context);
    }

    [EngineTask("color_focus.lens")]
    public static LensColorResult Lens(TaskInput input, RunContext context) => LensColorFocus.Compute(input.Request<LensColorRequest>());

    [EngineTask("color_focus.draw")]
    public static DrawnSpectrum Draw(TaskInput input, RunContext context)
    {
        SpectrumScene scene = input.Request<SpectrumScene>();
        SpectrumSimulator.Draw(scene, input.Output("pixels").Span);
        return new DrawnSpectrum(scene.Width, scene.Height);
    }

    internal sealed record DrawnSpectrum(int Width, int Height);
}
