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
}
