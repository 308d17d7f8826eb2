using System.Globalization;
using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// What the discs say against what was stated: the spacing of the rings against the size of the disc tells pitch x aperture /
/// (focal length x wavelength), whose size alone could stand for defocus; the hole's rings tell the obstruction; and a pair that fits better when
/// one image is turned was not stored the same way twice.
/// </summary>
internal static class SetupChecks
{
    /// <summary>Step of the changed models: a quarter of a pixel on a usual disc.</summary>
    private const double Step = 0.005;

    /// <summary>Standard deviations, misfit included, by which another value must be better.</summary>
    private const double Sigmas = 5;

    /// <summary>Least relative difference of the scale and of the obstruction that is worth a doubt; the budget holds smaller ones.</summary>
    private const double LeastScale = 0.02;
    private const double LeastObstruction = 0.06;

    /// <summary>Chi squared from which other setups are tried, from which they are where the rings ask for another scale too, and the share of the
    /// rough chi squared that one must leave at most. Where the fit itself leaves next to nothing, rough ones say nothing.</summary>
    private const double TryFrom = 1.5;
    private const double TryFromWhenAsked = 1.1;
    private const double Better = 0.7;

    private static readonly double[] Factors = [1.0 / 3, 0.5, 0.8, 0.88, 0.94, 1.06, 1.12, 1.25, 2, 3];

    // The seven other ways in which one image can lie against the other.
    private static readonly string[] Turns =
        ["", "mirrored left to right", "upside down (mirrored top to bottom)", "turned by 180 degrees", "mirrored along the diagonal", "turned by 90 degrees",
            "turned by 270 degrees", "mirrored along the other diagonal"];

    public static void AfterFit(WavefrontRequest request, PairPreparation[] prepared, FitRun run, FitJudgment judgment, List<Note> notes, Team team,
        RunContext context)
    {
        KnownTo known = request.KnownTo;
        double stated = Math.Sqrt((known.Scale * known.Scale) + (known.Wavelength * known.Wavelength));
        (Seen scale, Seen? hole) = Look(request, run, judgment, stated);
        double small = Math.Max(LeastScale, 4 * stated);
        bool scaleDoubted = scale.Beyond(small);
        if (hole is { } seen && seen.Beyond(Math.Max(LeastObstruction, 4 * known.Obstruction)))
        {
            notes.Add(Sentences.Obstruction(request.Pupil.Obstruction, seen.Value));
        }

        // The step points the right way, but is short where the difference is large.
        double factor = 1 + Math.Clamp(scale.Value, -0.4, 0.6);
        if (run.ChiSquared > TryFrom || (run.ChiSquared > TryFromWhenAsked && scale.Beyond(stated)))
        {
            // A small difference is no contradiction, however well it fits.
            double[] factors = [.. Factors.Append(factor).Where(f => f > 1 == scale.Value > 0 && Math.Abs(f - 1) > small)];
            double rough = run.RoughChi2(request, prepared, team, context);
            (double tried, double share) = BestScale(request, prepared, run, rough, factors, team, context);
            if (share < Better)
            {
                scaleDoubted = true;
                factor = tried;
            }

            // What another scale explains needs no turn.
            (int turn, double turned) = run.ChiSquared <= TryFrom || share < Better / 2 ? (0, 1)
                : BestTurn(request, prepared, run, rough, team, context);
            if (turned < Better && turned < share)
            {
                notes.Add(Sentences.Turned(request, Turns[turn], turned));
                scaleDoubted = false;
            }
        }

        if (scaleDoubted)
        {
            notes.Add(Sentences.Scale(request, prepared[0].PitchUm / prepared[0].Bin, factor));
        }
    }

    // What the residuals say of scale and obstruction, which the fit holds fixed. Rings of a wrong hole look much like rings of a wrong
    // scale, so each is looked for with the other left free as far as it is not known.
    private static (Seen Scale, Seen? Hole) Look(WavefrontRequest request, FitRun run, FitJudgment judgment, double scaleKnown)
    {
        var ways = new BesideChanges();
        ways.Add(run.Fit, new InputOffsets(Step, 0, 0).On);
        if (request.Pupil.Obstruction > 0.05)
        {
            ways.Add(run.Fit, new InputOffsets(0, 0, Step).On);
        }

        if (ways.Followed(run.Fit) is not (var normal, var side))
        {
            return (new Seen(0, double.PositiveInfinity), null);
        }

        double[] known = [scaleKnown, request.KnownTo.Obstruction];
        Seen Of(int way)
        {
            Matrix<double> with = normal / judgment.Inflation;
            for (int other = 0; other < ways.Count; other++)
            {
                with[other, other] += other == way ? 0 : Math.Pow(Step / Math.Max(known[other], 1e-6), 2);
            }

            // The model may stand away from what was stated; the other is known by its statement.
            double[] moved = [(run.Strategy.Offsets.Scale - run.Strategy.Offsets.Wavelength) / Step, run.Strategy.Offsets.Obstruction / Step];
            Vector<double> told = side / judgment.Inflation;
            for (int other = 0; other < ways.Count; other++)
            {
                told[other] -= other == way ? 0 : Math.Pow(Step / Math.Max(known[other], 1e-6), 2) * moved[other];
            }

            return PositiveDefinite.Inverse(with) is { } inverse
                ? new Seen(Step * ((inverse * told)[way] + moved[way]), Step * Math.Sqrt(inverse[way, way]))
                : new Seen(0, double.PositiveInfinity);
        }

        return (Of(0), ways.Count > 1 ? Of(1) : null);
    }

    private static (double Factor, double Share) BestScale(WavefrontRequest request, PairPreparation[] prepared, FitRun run, double rough, double[] factors,
        Team team, RunContext context)
    {
        (double Factor, double Share) best = (1, 1);
        foreach (double factor in factors)
        {
            double share = Rough(request, [.. prepared.Select(p => p.WithPitch(factor))], run, team, context) / rough;
            best = share < best.Share ? (factor, share) : best;
        }

        return best;
    }

    private static (int Turn, double Share) BestTurn(WavefrontRequest request, PairPreparation[] prepared, FitRun run, double rough, Team team,
        RunContext context)
    {
        (int Turn, double Share) best = (0, 1);
        for (int turn = 1; turn < Turns.Length; turn++)
        {
            double share = Rough(request, [.. prepared.Select(p => p.WithTurnedSecond(turn))], run, team, context) / rough;
            best = share < best.Share ? (turn, share) : best;
        }

        return best;
    }

    // Chi squared of the rough fit with a setup.
    private static double Rough(WavefrontRequest request, PairPreparation[] prepared, FitRun run, Team team, RunContext context)
    {
        context.Cancel.ThrowIfCancellationRequested();
        return run.Tried(request, prepared, team, context);
    }

    /// <summary>Another value than stated, relative to it, and its bar.</summary>
    private readonly record struct Seen(double Value, double Bar)
    {
        public bool Beyond(double least) => Math.Abs(Value) > least && Math.Abs(Value) > Sigmas * Bar;
    }

    /// <summary>The sentences.</summary>
    private static class Sentences
    {
        public static Note Scale(WavefrontRequest request, double pitch, double factor)
        {
            double whole = Math.Round(factor);
            string binned = whole >= 2 && Math.Abs((factor / whole) - 1) < 0.05 ? $" (binned {whole:F0} x {whole:F0}?)" : string.Empty;
            return SetupNotes.ScaleContradicts.Say(string.Create(CultureInfo.InvariantCulture,
                $"The rings in the discs fit {pitch * factor:G3} um pixels{binned}, or a focal length of {request.FocalLengthMm / factor:F0} mm, or an " +
                    $"aperture of {request.ApertureMm * factor:F0} mm, or a wavelength of {request.WavelengthsNm.Average() / factor:F0} nm, where " +
                    $"{pitch:G3} um, {request.FocalLengthMm:G5} mm, {request.ApertureMm:G5} mm and {request.WavelengthsNm.Average():F0} nm were stated. " +
                    $"Correct whichever is wrong; until then nothing is decided."));
        }

        public static Note Obstruction(double stated, double relative) => SetupNotes.ObstructionContradicts.Say(string.Create(CultureInfo.InvariantCulture,
            $"The discs fit a central obstruction of {stated * (1 + relative):F2}, {stated:F2} was stated. Measure the secondary or its baffle; until then " +
                $"nothing is decided."));

        public static Note Turned(WavefrontRequest request, string how, double share) => SetupNotes.ImageTurned.Say(string.Create(CultureInfo.InvariantCulture,
            $"The pair fits better, with {100 * share:F0} % of the misfit, when {request.Frames[1].Name} is taken as {how}: one of the images was stored in " +
                $"another orientation. Turn it back; until then nothing is decided."), request.Frames[1].Name);
    }
}
