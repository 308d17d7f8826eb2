using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge.Tasks;

/// <summary>Wavefront from pairs of defocused images.</summary>
[TaskList]
internal static class WavefrontTasks
{
    /// <summary>Fits all pairs that were handed over as frame0 (inside), frame1 (outside), frame2, ...</summary>
    [EngineTask("wavefront.fit")]
    public static object Fit(TaskInput input, RunContext context) =>
        WavefrontFits.Measure(input.Request<WavefrontRequest>() with { Frames = input.Frames("frame") }, context);

    /// <summary>The bare fit of one prepared pair: arrays electrons and variance, both (2, window, window).</summary>
    [EngineTask("wavefront.refine")]
    public static object Refine(TaskInput input, RunContext context) =>
        WavefrontRefinement.Measure(
            input.Request<RefinementRequest>() with { Electrons = input.Floats("electrons"), Variance = input.Floats("variance") }, context);
}
