using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge.Tasks;

/// <summary>Tasks that test the door itself.</summary>
[TaskList]
internal static class GatewayTasks
{
    /// <summary>Works for the asked time, so that progress and cancelling can be tried.</summary>
    [EngineTask("gateway.wait")]
    public static object Wait(TaskInput input, RunContext context)
    {
        double seconds = input.Request<WaitRequest>().Seconds;
        const int Steps = 1000;
        for (int i = 0; i < Steps; i++)
        {
            context.Cancel.WaitHandle.WaitOne(TimeSpan.FromSeconds(seconds / Steps));
            context.Cancel.ThrowIfCancellationRequested();
            context.Report((i + 1.0) / Steps, "waiting");
        }

        return new WaitResult(seconds);
    }

    /// <summary>Gives an array back as it was understood: the crossing test.</summary>
    [EngineTask("gateway.echo")]
    public static object Echo(TaskInput input, RunContext context)
    {
        Frame frame = input.Frame("frame");
        frame.RequireConsistent();
        return new EchoResult(frame.Width, frame.Height, frame.Pixels.Format, frame.Pixels.BigEndian, frame.Pixels.Bytes.ToArray(), frame.GainElectronsPerAdu);
    }

    internal sealed record WaitRequest(double Seconds);

    internal sealed record WaitResult(double Seconds);

    internal sealed record EchoResult(int Width, int Height, PixelFormat Format, bool BigEndian, byte[] Bytes, double Gain);
}
