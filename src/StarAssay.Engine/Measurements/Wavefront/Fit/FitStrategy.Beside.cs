using MathNet.Numerics.LinearAlgebra;
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
    private bool AskForVanes(ExactModels exact)
    {
        if (!VaneSearch.Worthwhile(fit, Pupil) || new VaneSearch(fit).Look() is not { } vanes)
        {
            return false;
        }

        void TurnAndWiden()
        {
            for (int round = 0; round < VaneRounds; round++)
            {
                PairModel[] last = models;
                GoOn(exact(Pupil with { Vanes = vanes }, Offsets, fit.States), fit.States);
                if (round > 0)
                {
                    End(last);
                }

                vanes = round < VaneRounds - 1 ? VaneSearch.Better(fit) : vanes;
            }
        }

        if (!Keep(TurnAndWiden, (before, after) => after - 1 < MisfitLeft * (before - 1)))
        {
            return false;
        }

        Pupil = Pupil with { Vanes = models[0].Optics.Shape.Vanes };
        return true;
    }

    // Scale, wavelength and obstruction within what they are known to; kept when the misfit falls. They must not stand in for modes that are
    // still missing, so these follow.
    private bool AskForInputs(ExactModels exact, InputOffsets? first = null)
    {
        for (int round = 0; round < InputRounds; round++)
        {
            InputOffsets? moved = round == 0 && first is not null ? first : LookAtInputs();
            if (moved is not { } to || !Keep(() => GoOn(exact(Pupil, to, fit.States), fit.States), (before, after) => after < before))
            {
                return round > 0;
            }

            Offsets = to;
        }

        return true;
    }

    // Goes another way, and back again where chi squared for each pixel, before and after, does not say that it is better.
    private bool Keep(Action way, Func<double, double, bool> better)
    {
        double before = fit.Chi2 / fit.Points;
        PairModel[] without = models;
        PairState[] start = [.. fit.States.Select(s => s.Copy())];
        way();
        bool keep = better(before, fit.Chi2 / fit.Points);
        PairModel[] unused = keep ? without : models;
        if (!keep)
        {
            GoOn(without, start);
        }

        End(unused);
        return keep;
    }

    private void GoOn(PairModel[] with, PairState[] from)
    {
        Use(with, from);
        TakeBackWild();
        Settle();
    }

    private InputOffsets? LookAtInputs()
    {
        int had = fit.ModeCount;
        fit.ModeCount = Math.Max(had, ladder.Rungs[ladder.FirstRungs - 1]);
        InputOffsets? moved = InputLook.At(fit, request, Offsets);
        fit.ModeCount = had;
        return moved;
    }

    // One Jacobian with all whole orders says how many of these are wanted, and whether the images ask for trails or other inputs.
    private (bool Trails, InputOffsets? Inputs) LookFirst()
    {
        int[] offers = [.. ladder.Rungs.Take(ladder.FirstRungs)];
        fit.Reweight(0);
        fit.ModeCount = offers[^1];
        var trails = new Nuisances(fit, new NuisanceSizes(0, TrailPx(request, models), 0, 0));
        StatedInputs inputs = InputLook.Movable(fit, request, Offsets);
        (Matrix<double> equations, Vector<double> sides) = fit.Derivatives.NormalEquations(new BesideBoth(trails, inputs.Changes));
        int own = fit.Unknowns.Count, all = own + trails.Count;
        bool trailed = TrailFit.AskedFor(fit, equations.SubMatrix(0, all, 0, all), sides.SubVector(0, all), own);
        int[] without = [.. Enumerable.Range(0, own), .. Enumerable.Range(all, sides.Count - all)];
        InputOffsets? moved = InputLook.From(fit, request.KnownTo, inputs,
            Matrix<double>.Build.Dense(without.Length, without.Length, (i, j) => equations[without[i], without[j]]),
            Vector<double>.Build.Dense(without.Length, i => sides[without[i]]));
        Take(offers, equations.SubMatrix(0, own, 0, own), sides.SubVector(0, own));
        return (trailed, moved);
    }

    private bool AskForTrails() => TrailFit.Ask(fit, TrailPx(request, models), hessian);

    private static void End(PairModel[] unused)
    {
        foreach (PairModel model in unused)
        {
            model.Dispose();
        }
    }
}
