using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Bridge.Tasks;

/// <summary>Finding and measuring stars.</summary>
[TaskList]
internal static class StarTasks
{
    /// <summary>All stars of one frame.</summary>
    [EngineTask("stars.measure")]
    public static StarField Measure(TaskInput input, RunContext context) =>
        StarMeasurement.Measure(input.Request<StarRequest>() with { Frame = input.Frame("frame") }, context);
}
