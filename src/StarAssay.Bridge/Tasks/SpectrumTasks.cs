using StarAssay.Engine.Results;
using StarAssay.Engine.Simulation;

namespace StarAssay.Bridge.Tasks;

/// <summary>Draws spectra into Python's arrays.</summary>
[TaskList]
internal static class SpectrumTasks
{
    [EngineTask("simulation.spectrum")]
    public static DrawnSpectrum Draw(TaskInput input, RunContext context)
    {
        SpectrumScene scene = input.Request<SpectrumScene>();
        SpectrumSimulator.Draw(scene, input.Output("pixels").Span);
        return new DrawnSpectrum(scene.Width, scene.Height);
    }

    internal sealed record DrawnSpectrum(int Width, int Height);
}
