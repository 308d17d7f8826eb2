using StarAssay.Engine.Measurements.Wavefront.SecondOpinion;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge.Tasks;

/// <summary>The linear wavefront method on its own, for those who want to compare.</summary>
[TaskList]
internal static class WavefrontTasks
{
    [EngineTask("wavefront.second-opinion")]
    public static object Estimate(TaskInput input, RunContext context)
    {
        Call call = input.Request<Call>();
        return TransportMethod.Estimate(
            new TransportRequest
            {
                Inside = Image(input, "inside", call.InsideUm),
                Outside = Image(input, "outside", call.OutsideUm),
                Pupil = call.Pupil,
                FocalRatio = call.FocalRatio,
                PitchUm = call.PitchUm,
                WavelengthNm = call.WavelengthNm,
                BlurFwhmPixels = call.BlurFwhmPixels,
                LastNoll = call.LastNoll,
            },
            context);
    }

    private static TransportImage Image(TaskInput input, string name, double defocusUm)
    {
        IReadOnlyList<int> shape = input.Shape(name);
        float[] pixels = input.Floats(name).ToArray();
        string variance = name + "_variance";
        return new TransportImage(pixels, input.Floats(variance).ToArray(), new bool[pixels.Length], shape[1], shape[0], defocusUm);
    }

    internal sealed record Call
    {
        public required double InsideUm { get; init; }

        public required double OutsideUm { get; init; }

        public PupilShape Pupil { get; init; } = PupilShape.Clear;

        public required double FocalRatio { get; init; }

        public required double PitchUm { get; init; }

        public required double WavelengthNm { get; init; }

        public double BlurFwhmPixels { get; init; }

        public int LastNoll { get; init; } = 28;
    }
}
