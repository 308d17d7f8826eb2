using StarAssay.Engine.Results;
using StarAssay.Engine.Simulation;

namespace StarAssay.Bridge.Tasks;

/// <summary>Tasks that draw frames straight into Python's arrays.</summary>
[TaskList]
internal static class SimulationTasks
{
    /// <summary>A star field into the uint16 array "image".</summary>
    [EngineTask("simulation.star-field")]
    public static StarFieldTruth StarField(TaskInput input, RunContext context) =>
        StarFieldDrawing.Draw(input.Request<StarFieldRequest>(), input.OutputUInt16("image"), context);

    /// <summary>The expected electrons of a star field, without noise, into the float32 array "image".</summary>
    [EngineTask("simulation.star-field-expected")]
    public static StarFieldTruth StarFieldExpected(TaskInput input, RunContext context) =>
        StarFieldDrawing.DrawExpected(input.Request<StarFieldRequest>(), input.Output("image"), context);

    /// <summary>One star, in or out of focus, into the uint16 array "image".</summary>
    [EngineTask("simulation.single-star")]
    public static SingleStarTruth SingleStar(TaskInput input, RunContext context) =>
        SingleStarDrawing.Draw(input.Request<SingleStarRequest>(), input.OutputUInt16("image"), context);

    /// <summary>A flat, dark or bias frame into the uint16 array "image".</summary>
    [EngineTask("simulation.flat")]
    public static FlatTruth Flat(TaskInput input, RunContext context) =>
        FlatDrawing.Draw(input.Request<FlatRequest>(), input.OutputUInt16("image"), context);

    /// <summary>A bright surface that ends at a dark one, into the uint16 array "image".</summary>
    [EngineTask("simulation.edge")]
    public static EdgeTruth Edge(TaskInput input, RunContext context) =>
        EdgeDrawing.Draw(input.Request<EdgeRequest>(), input.OutputUInt16("image"), context);

    /// <summary>The expected electrons of the same, without noise, into the float32 array "image".</summary>
    [EngineTask("simulation.edge-expected")]
    public static EdgeTruth EdgeExpected(TaskInput input, RunContext context) =>
        EdgeDrawing.DrawExpected(input.Request<EdgeRequest>(), input.Output("image"), context);

    /// <summary>A star at several places of the sensor, for a slider.</summary>
    [EngineTask("simulation.field-preview")]
    public static FieldPreviewResult Preview(TaskInput input, RunContext context) => FieldPreview.Draw(input.Request<FieldPreviewRequest>(), context);
}
