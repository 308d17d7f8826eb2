using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>What can be wrong with the input, before and after the fit.</summary>
internal static class FitChecks
{
    public static void BeforeReading(WavefrontRequest request)
    {
        for (int a = 0; a < request.Frames.Count; a++)
        {
            for (int b = a + 1; b < request.Frames.Count; b++)
            {
                if (request.Frames[a].Width == request.Frames[b].Width && request.Frames[a].Height == request.Frames[b].Height
                    && request.Frames[a].Pixels.Bytes.Span.SequenceEqual(request.Frames[b].Pixels.Bytes.Span))
                {
                    throw new CannotMeasureException("wavefront.same-image",
                        $"{request.Frames[a].Name} and {request.Frames[b].Name} hold the very same pixels. Give one image from inside and one from outside of focus.", request.Frames[b].Name);
                }
            }
        }
    }

    public static void AfterReading(WavefrontRequest request, PairPreparation[] prepared, List<Note> notes)
    {
        _ = request;
        _ = prepared;
        _ = notes;
    }

    public static void AfterFit(WavefrontRequest request, PairPreparation[] prepared, FitRun run, List<Note> notes, Team team, RunContext context)
    {
        _ = request;
        _ = prepared;
        _ = notes;
        _ = run;
        _ = team;
        _ = context;
    }
}
