using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>A finished fit with all that made it.</summary>
/// <param name="Request">What was asked for, with the vanes that the fit found where none were stated.</param>
/// <param name="Models">One model a pair.</param>
/// <param name="Data">Pixels of each pair.</param>
/// <param name="Fit">Where it ended.</param>
/// <param name="Strategy">The way there.</param>
/// <param name="Modes">Modes that it chose from.</param>
internal sealed record FitRun(WavefrontRequest Request, PairModel[] Models, PairData[] Data, JointFit Fit, FitStrategy Strategy, FitModes Modes) : IDisposable
{
    /// <summary>Mean wavelength of the light as it was stated, nm: the one that a Strehl ratio is meant at.</summary>
    public double StatedWavelengthNm => Models[0].Optics.MeanWavelengthNm / (1 + Strategy.Offsets.Wavelength);

    /// <summary>True when the model has vanes that nobody stated.</summary>
    public bool VanesFound { get; private init; }

    /// <inheritdoc/>
    public void Dispose()
    {
        Strategy.Dispose();
        foreach (PairModel model in Models)
        {
            model.Dispose();
        }
    }

    /// <summary>Fits prepared pairs.</summary>
    public static FitRun Make(WavefrontRequest request, PairPreparation[] prepared, FitModes modes, Team team, RunContext context)
    {
        FitStrategy strategy = Approach(request, prepared, modes, team, context);
        PairState[] start = strategy.Reached;
        PairData[] data = [.. prepared.Select(p => p.Data)];
        PairModel[] Exact(PupilShape pupil, InputOffsets offsets, PairState[] at) => [.. prepared.Select((p, i) => new PairModel(
            offsets.On(Stretched(OpticsOf(request with { Pupil = pupil }, p), request, start[i])) with { LeastSeeing = FitStrategy.LeastSeeing(at[i]) },
            modes, start[i].DefocusNm.Max(Math.Abs), team))];
        JointFit fit = strategy.Finish(Exact, start, context);
        return new FitRun(request with { Pupil = strategy.Pupil }, fit.Models, data, fit, strategy, modes)
        {
            VanesFound = strategy.Pupil.Vanes.Count > request.Pupil.Vanes.Count,
        };
    }

    /// <summary>A request with the seeing that this fit found to start from: one of three scans is enough for a trial.</summary>
    public WavefrontRequest Near(WavefrontRequest request) => request.HoldSeeing ? request : request with
    {
        SeeingArcsec = Seeing.FwhmFromStrength(Math.Max(1e-3, Fit.States.Average(s => s.Seeing.Average())), Models[0].Optics.MeanWavelengthNm,
            request.ApertureMm),
    };

    /// <summary>Chi squared that a rough fit leaves with another setup, of images that are blurred as these were found to be.</summary>
    public double Tried(WavefrontRequest request, PairPreparation[] prepared, Team team, RunContext context) =>
        Approach(Near(request), prepared, Modes, team, context, Fit.States.Min(FitStrategy.LeastSeeing)).RoughChi2;

    /// <summary>What <see cref="Tried"/> is compared with: the same with this setup. The rough fit that this one began with knew of no vanes that were
    /// only then found, and the others do.</summary>
    public double RoughChi2(WavefrontRequest request, PairPreparation[] prepared, Team team, RunContext context) =>
        VanesFound ? Tried(request, prepared, team, context) : Strategy.RoughChi2;

    /// <summary>From the prepared start to the neighbourhood of the minimum on rough models.</summary>
    private static FitStrategy Approach(WavefrontRequest request, PairPreparation[] prepared, FitModes modes, Team team, RunContext context,
        double leastSeeing = 0)
    {
        PairModel[] rough = [.. prepared.Select(p => new PairModel(
            OneWavelength(OpticsOf(request, p)) with { LeastSeeing = leastSeeing },
            modes, 1.06 * p.Start.DefocusNm.Max(Math.Abs), team, PairModelGrade.Start))];
        var strategy = new FitStrategy(rough, [.. prepared.Select(p => p.Data)], [.. prepared.Select(p => p.Start.Copy())], modes, request, team);
        strategy.Approach(context);
        foreach (PairModel model in rough)
        {
            model.Dispose();
        }

        return strategy;
    }

    /// <summary>Chi squared per degree of freedom.</summary>
    public double ChiSquared => Fit.Chi2 / Fit.Freedom;

    private static PairOptics OneWavelength(PairOptics o) => o with { WavelengthsNm = [o.MeanWavelengthNm], Weights = [1] };

    // The sensor's distance from focus changes the image scale; the distance seen so far is good enough for that.
    private static PairOptics Stretched(PairOptics o, WavefrontRequest request, PairState s) =>
        o with { Stretch = [.. s.DefocusNm.Select(d => 1 + (o.DistanceUm(d, request.FocalLengthMm) * 1e-3 / request.FocalLengthMm))] };

    /// <summary>What is held fixed for a pair.</summary>
    public static PairOptics OpticsOf(WavefrontRequest request, PairPreparation p)
    {
        double[] weights = request.Weights.Length == 0 ? [.. request.WavelengthsNm.Select(_ => 1.0)] : request.Weights;
        double sum = weights.Sum();
        double jitter = request.JitterArcsec / PixelScale.ArcsecPerPx(p.PitchUm, request.FocalLengthMm);
        double[] shares = [.. weights.Select(w => w / sum)];
        return new PairOptics(request.Pupil, request.FocalRatio, p.PitchUm, request.WavelengthsNm, shares, jitter * jitter, p.Data.Window);
    }
}
