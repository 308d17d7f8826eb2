using System.Runtime.InteropServices;
using System.Text.Json;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge.Tests;

/// <summary>What the door checks before the engine sees anything; no Python needed.</summary>
public sealed class TaskInputTests : IDisposable
{
    private readonly GCHandle pinned = GCHandle.Alloc(new byte[64], GCHandleType.Pinned);

    public void Dispose() => pinned.Free();

    [Fact]
    public void A_frame_sees_the_callers_memory()
    {
        TaskInput input = Input(new ArraySpec
        {
            Name = "frame",
            Dtype = "u2",
            BigEndian = true,
            Shape = [2, 3],
            Frame = new FrameSpec { Zero = 32768, GainElectronsPerAdu = 1.5 }
        });
        Frame frame = input.Frame("frame");
        ((byte[])pinned.Target!)[1] = 7;
        Assert.Equal(7, frame.Pixels.Bytes.Span[1]);
        Assert.Equal((3, 2, 1.5), (frame.Width, frame.Height, frame.GainElectronsPerAdu));
    }

    [Fact]
    public void An_array_that_was_not_given_is_named()
    {
        InputException error = Assert.Throws<InputException>(() => Input().Frame("frame"));
        Assert.Contains("'frame'", error.Message, StringComparison.Ordinal);
    }

    [Fact]
    public void A_read_only_array_is_no_output()
    {
        TaskInput input = Input(new ArraySpec { Name = "out", Dtype = "f4", Shape = [4] });
        Assert.Throws<InputException>(() => input.Output("out"));
    }

    [Fact]
    public void A_swapped_array_is_never_reinterpreted()
    {
        TaskInput input = Input(new ArraySpec { Name = "x", Dtype = "f8", Shape = [4], BigEndian = BitConverter.IsLittleEndian });
        Assert.Throws<InputException>(() => input.Doubles("x"));
    }

    [Fact]
    public void An_unknown_request_key_is_refused()
    {
        var input = new TaskInput(JsonDocument.Parse("""{"seconds": 1, "secnods": 2}""").RootElement, []);
        InputException error = Assert.Throws<InputException>(input.Request<Tasks.GatewayTasks.WaitRequest>);
        Assert.Contains("secnods", error.Message, StringComparison.Ordinal);
    }

    private TaskInput Input(params ArraySpec[] specs) =>
        new(JsonDocument.Parse("{}").RootElement, specs.Select(s => (s, pinned.AddrOfPinnedObject())));
}
