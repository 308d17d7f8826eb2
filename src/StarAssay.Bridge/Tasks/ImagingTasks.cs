using StarAssay.Engine.Imaging;
using StarAssay.Engine.Imaging.Calibration;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge.Tasks;

/// <summary>Tasks on frames before anything is measured in them.</summary>
[TaskList]
internal static class ImagingTasks
{
    /// <summary>One look at all pixels, and the stated mosaic judged by them.</summary>
    [EngineTask("imaging.inspect")]
    public static object Inspect(TaskInput input, RunContext context)
    {
        InspectRequest request = input.Request<InspectRequest>();
        Frame frame = input.Frame("frame");
        FrameInspection seen = FrameInspector.Inspect(frame, context);
        (string pattern, IReadOnlyList<Note> notes) = request.Pattern.Length == 0
            ? (string.Empty, Bayer.Unmentioned(seen.Mosaic, frame.Name))
            : Bayer.Judge(request.Pattern, seen.Mosaic, frame.Name, request.TrustPattern);
        return new InspectReport(seen, pattern, notes);
    }

    /// <summary>The planes of a color mosaic.</summary>
    [EngineTask("imaging.split-bayer")]
    public static object SplitBayer(TaskInput input, RunContext context) =>
        Bayer.Split(input.Frame("frame"), input.Request<BayerRequest>(), context);

    /// <summary>Several frames in one.</summary>
    [EngineTask("imaging.combine")]
    public static object Combine(TaskInput input, RunContext context) =>
        FrameCombiner.Combine(input.Frames("frame"), input.Request<CombineRequest>(), context);

    /// <summary>Bias, dark and flat taken out.</summary>
    [EngineTask("imaging.calibrate")]
    public static object Calibrate(TaskInput input, RunContext context) => FrameCalibrator.Calibrate(
        input.Frame("frame"), MasterOf(input, "bias"), MasterOf(input, "dark"), MasterOf(input, "flat"), input.Request<CalibrateRequest>(), context);

    /// <summary>Gain and read noise.</summary>
    [EngineTask("imaging.gain")]
    public static object Gain(TaskInput input, RunContext context) => PhotonTransfer.Measure(
        input.Frame("flat0"), input.Frame("flat1"), input.Frame("bias0"), input.Frame("bias1"), input.Request<PhotonTransferRequest>(), context);

    /// <summary>Hot and dead pixels.</summary>
    [EngineTask("imaging.bad-pixels")]
    public static object FindBadPixels(TaskInput input, RunContext context) => BadPixels.Find(
        input.Has("dark") ? input.Frame("dark") : null, input.Has("flat") ? input.Frame("flat") : null, input.Request<BadPixelRequest>(), context);

    /// <summary>Cosmic rays of a single frame.</summary>
    [EngineTask("imaging.cosmic-rays")]
    public static object FindCosmicRays(TaskInput input, RunContext context) =>
        CosmicRays.Find(input.Frame("frame"), input.Request<CosmicRayRequest>(), context);

    internal sealed record InspectRequest(string Pattern = "", bool TrustPattern = false);

    internal sealed record InspectReport(FrameInspection Inspection, string Pattern, IReadOnlyList<Note> Notes);

    private static Master? MasterOf(TaskInput input, string name) => !input.Has(name) ? null
        : new Master(input.Frame(name), input.Has($"{name}_uncertainty") ? input.Floats($"{name}_uncertainty") : default);
}
