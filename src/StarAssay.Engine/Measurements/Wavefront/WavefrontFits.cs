using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Measures the wavefront from pairs of images inside and outside of focus.</summary>
public static class WavefrontFits
{
    /// <summary>Fits all pairs together.</summary>
    /// <exception cref="InputException">The request cannot work as given.</exception>
    /// <exception cref="CannotMeasureException">The images do not hold the measurement.</exception>
    [Measurement("wavefront", "Wavefront")]
    public static WavefrontFit Measure(WavefrontRequest request, RunContext context) => Judged(request, context, (prepared, run, judgment, notes) =>
    {
        context.Report(1, "done");
        return ResultMaker.Make(request, prepared, run, judgment, notes);
    });

    /// <summary>Fits and judges, and hands what came of it to a function while the fit's memory is still there.</summary>
    internal static T Judged<T>(WavefrontRequest request, RunContext context, Func<PairPreparation[], FitRun, FitJudgment, List<Note>, T> make)
    {
        request.RequireValid();
        foreach (Frame frame in request.Frames)
        {
            frame.RequireConsistent();
        }

        var notes = new List<Note>();
        FitChecks.BeforeReading(request);
        var team = new Team(context.Threads, context.Cancel);
        var modes = new FitModes(request.Pupil.Obstruction, request.LeastNoll, request.MostNoll);
        int pairs = request.Frames.Count / 2;
        PairPreparation[] prepared = [.. Enumerable.Range(0, pairs).Select(p => PairPreparation.Make(request, p, modes.Count))];
        FitChecks.AfterReading(request, prepared, notes);
        context.Report(0.1, "stars found");
        using FitRun run = FitRun.Make(request, prepared, modes, team, context);
        NuisanceNotes.SayVanes(run, notes);
        request = run.Request;
        NuisanceFit beside = NuisanceFit.TakeOff(request, prepared, run);
        FitChecks.AfterFit(request, prepared, run, notes, team, context);
        NuisanceNotes.Say(request, prepared, run, beside, notes);
        FitJudgment judgment = FitJudgment.Make(request, prepared, run, beside, notes, team, context);
        SetupChecks.AfterFit(request, prepared, run, judgment, notes, team, context);
        beside.Apart?.Say(run, judgment, notes);
        return make(prepared, run, judgment, notes);
    }
}
