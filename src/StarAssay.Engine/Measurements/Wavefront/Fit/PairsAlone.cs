using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Each pair of a finished joint fit fitted by itself, for the scatter.</summary>
internal static class PairsAlone
{
    /// <summary>One fit a pair, none when there is only one pair. Uses the run's models and leaves them at the run's states.</summary>
    public static PairAlone[] Fit(FitRun run, MapMaker surface, double focalLengthMm, Team team, RunContext context)
    {
        if (run.Models.Length < 2)
        {
            return [];
        }

        var list = new List<PairAlone>();
        int count = run.Fit.ModeCount;
        for (int p = 0; p < run.Models.Length; p++)
        {
            context.Cancel.ThrowIfCancellationRequested();
            var fit = new JointFit([run.Models[p]], [run.Data[p]], [run.Fit.States[p].Copy()], team)
            {
                ModeCount = count,
                FitSeeing = run.Fit.FitSeeing,
                SeparateSeeing = run.Fit.SeparateSeeing,
            };
            fit.Refresh();
            fit.Reweight(0);
            Descent.Run(fit, 1e-5, 12);
            double[] c = fit.States[0].CoefficientsNm[..count];
            double[] distance = [.. fit.States[0].DefocusNm.Select(d => run.Models[p].Optics.DistanceUm(d, focalLengthMm))];
            list.Add(new PairAlone(c, surface.Rms(c), fit.Chi2 / fit.Freedom, distance));
        }

        run.Fit.Refresh();
        return [.. list];
    }
}
