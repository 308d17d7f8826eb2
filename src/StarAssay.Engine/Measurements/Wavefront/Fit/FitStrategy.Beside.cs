using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <content>What is no wavefront and yet in the images: trails, vanes that nobody stated, and stated inputs that are a little off. Each is asked about
/// before more modes are offered, which would imitate it badly.</content>
internal sealed partial class FitStrategy
{
    // Fits with vanes, each with those that the last one led to, and share of the misfit beyond the noise that they may leave to be kept.
    private const int VaneRounds = 3;
    private const double MisfitLeft = 0.7;
    private const int InputRounds = 2;

    // Vanes that nobody stated; kept when they take away a good part of the misfit.
    private bool AskForVanes(Func<PupilShape, InputOffsets, PairModel[]> exact)
    {
        if (!VaneSearch.Worthwhile(fit, Pupil) || new VaneSearch(fit).Look() is not { } vanes)
        {
            return false;
        }

        double before = fit.Chi2 / fit.Points;
        PairModel[] without = models;
        PairState[] kept = [.. fit.States.Select(s => s.Copy())];
        for (int round = 0; round < VaneRounds; round++)
        {
            PairModel[] last = models;
            Use(exact(Pupil with { Vanes = vanes }, Offsets), fit.States);
            if (last != without)
            {
                End(last);
            }

            TakeBackWild();
            Settle();
            vanes = round < VaneRounds - 1 ? VaneSearch.Better(fit) : vanes;
        }

        bool better = fit.Chi2 / fit.Points - 1 < MisfitLeft * (before - 1);
        PairModel[] unused = better ? without : models;
        if (!better)
        {
            Use(without, kept);
            TakeBackWild();
            Settle();
        }

        else
        {
            Pupil = Pupil with { Vanes = models[0].Optics.Shape.Vanes };
        }

        End(unused);
        return better;
    }

    // Scale, wavelength and obstruction within what they are known to; kept when the misfit falls. They must not stand in for modes that are
    // still missing, so these follow.
    private void AskForInputs(Func<PupilShape, InputOffsets, PairModel[]> exact)
    {
        for (int round = 0; round < InputRounds; round++)
        {
            int had = fit.ModeCount;
            fit.ModeCount = Math.Max(had, ladder.Rungs[ladder.FirstRungs - 1]);
            InputOffsets? moved = InputLook.At(fit, request, Offsets);
            fit.ModeCount = had;
            if (moved is not { } to)
            {
                return;
            }

            double before = fit.Chi2 / fit.Points;
            PairModel[] last = models;
            PairState[] kept = [.. fit.States.Select(s => s.Copy())];
            Use(exact(Pupil, to), fit.States);
            TakeBackWild();
            Settle();
            if (fit.Chi2 / fit.Points < before)
            {
                Offsets = to;
                End(last);
                continue;
            }

            PairModel[] unused = models;
            Use(last, kept);
            TakeBackWild();
            Settle();
            End(unused);
            return;
        }
    }

    private void AskForTrails() => TrailFit.Ask(fit, TrailPx(request, models), hessian);

    private static void End(PairModel[] unused)
    {
        foreach (PairModel model in unused)
        {
            model.Dispose();
        }
    }
}
