using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>The way from starting values to the final fit: a scan over defocus and seeing, modes from low to high with weights
/// that first forgive a wrong model, masking of single wild pixels once the model holds, then as many orders as the data ask for.</summary>
/// <remarks>Chi squared of a pair is compared before and after a change of the models, which may draw more or less finely: what they leave out is far
/// below the noise.</remarks>
internal sealed partial class FitStrategy : IDisposable
{
    // Looks at finer modes, each from where the last one led.
    private const int MostLooks = 3;

    // Chi squared beyond which a look says little of what is small.
    private const double TooPoorToSee = 1.5;

    // Of the strength of seeing, (D/r0)^(5/3): four fifths of its width.
    private const double SureOfSeeing = 0.69;

    // Of what a second star must gain, after the first of three rounds.
    private const double NearlyBelieved = 0.4;

    private readonly PairData[] data;
    private readonly WavefrontRequest request;
    private readonly Team team;
    private readonly FitModes ladder;
    private readonly List<(int Pair, int Image, int At)> wild = [];
    private readonly WarmHessian warm = new();
    private PairModel[] models;
    private JointFit fit;
    private QuickHessian? hessian;

    /// <summary>Takes rough models for the way to the start.</summary>
    public FitStrategy(PairModel[] rough, PairData[] data, PairState[] start, FitModes modes, WavefrontRequest request, Team team)
    {
        ladder = modes;
        models = rough;
        this.data = data;
        this.request = request;
        Pupil = request.Pupil;
        this.team = team;
        fit = new JointFit(rough, data, start, team);
    }

    /// <summary>The pupil, with vanes that were found.</summary>
    public PupilShape Pupil { get; private set; }

    /// <summary>How far the model's scale, wavelength and obstruction are from the stated ones.</summary>
    public InputOffsets Offsets { get; private set; }

    /// <summary>Pixels masked as wild.</summary>
    public int Wild => wild.Count;

    /// <summary>True when the stopping rule ended below the most modes allowed.</summary>
    public bool StoppedEarly { get; private set; }

    /// <summary>Companions that were taken out, in words.</summary>
    public List<string> Companions { get; } = [];

    /// <summary>Chi squared that the rough model reached.</summary>
    public double RoughChi2 { get; private set; }

    /// <summary>Where the rough model ended.</summary>
    public PairState[] Reached { get; private set; } = [];

    /// <summary>From the moments to the neighbourhood of the minimum, with the rough models.</summary>
    public void Approach(RunContext context)
    {
        using var quick = new QuickHessian(models, team);
        double given = request.SeeingArcsec;
        fit.FitSeeing = !request.HoldSeeing;
        Scan(request.HoldSeeing ? [given] : double.IsNaN(given) ? [1.2, 2.5, 4.5] : [given]);
        context.Report(0.2, "first look");
        fit.ModeCount = 0;
        fit.Reweight(0.10);
        Descent.Run(fit, 0.02, 6, quick);
        fit.ModeCount = FitModes.CountUpTo(11);
        fit.Reweight(0.05);
        Descent.Run(fit, 0.01, 10, quick);
        fit.ModeCount = FitModes.CountUpTo(request.LeastNoll);
        fit.Reweight(0.03);
        Descent.Run(fit, 0.003, 15, quick);
        context.Report(0.4, "main modes");
        RoughChi2 = fit.Chi2;
        Reached = [.. fit.States.Select(s => s.Copy())];
    }

    /// <summary>RMS of the blur along one direction that is usual in each pair, pixels.</summary>
    public static double[] TrailPx(WavefrontRequest request, PairModel[] models) =>
        [.. models.Select(m => request.KnownTo.TrailArcsec / PixelScale.ArcsecPerPx(m.Optics.PitchUm, request.FocalLengthMm))];

    /// <summary>From there to the end with the exact models.</summary>
    /// <param name="exact">Makes the models.</param>
    /// <param name="start">Where the rough models ended.</param>
    /// <param name="context">Where progress is told.</param>
    /// <returns>The fit; its models are the caller's to end.</returns>
    public JointFit Finish(ExactModels exact, PairState[] start, RunContext context)
    {
        fit.ModeCount = FitModes.CountUpTo(request.LeastNoll);
        Use(exact(Pupil, default, start), start);
        fit.Reweight(0.02);
        fit.SolveLight();
        MaskWild();
        fit.Reweight(0.01);
        Descent.Run(fit, 0.002, 12, hessian);
        MaskWild();
        Settle();
        DrawFinelyEnough(exact);

        // The missing orders first: what they leave looks like a trail, or like another scale, or hides them.
        double before = fit.Chi2 / fit.Points;
        (bool trailed, InputOffsets? moved) = LookFirst();
        Settle();
        if (before > TooPoorToSee && !trailed && moved is null)
        {
            (trailed, moved) = LookFirst();
            Settle();
        }

        bool changed = trailed && AskForTrails();
        if (changed || moved is not null)
        {
            changed |= AskForInputs(exact, changed ? null : moved);
        }

        if (AskForVanes(exact))
        {
            AskForTrails();
            AskForInputs(exact);
            changed = true;
        }

        TakeOutCompanions();
        AskForSeparateSeeing();
        MaskWild();
        context.Report(0.6, "higher modes");
        ChooseOrders(changed || Companions.Count > 0 || fit.SeparateSeeing);
        Settle();
        if (fit.ModeCount > ladder.Rungs[ladder.FirstRungs - 1])
        {
            // Rings and fine orders had to follow too.
            AskForInputs(exact);
        }

        // With all modes free, what the missing ones left no longer hides a faint second star.
        if (Companions.Count == 0)
        {
            TakeOutCompanions();
        }

        MaskWild();
        Settle();
        DrawFinelyEnough(exact);
        context.Report(0.85, "uncertainty");
        Dispose();
        return fit;
    }

    /// <summary>Seeing that a pair is sure to have where it stands, as far as the fit may still move.</summary>
    public static double LeastSeeing(PairState at) => SureOfSeeing * at.Seeing.Min();

    /// <inheritdoc/>
    public void Dispose()
    {
        hessian?.Dispose();
        hessian = null;
    }

    // Goes on with other models from other values.
    private void Use(PairModel[] with, PairState[] from)
    {
        hessian?.Dispose();
        hessian = new QuickHessian(with, team);
        models = with;
        int steps = fit.Iterations;
        fit = new JointFit(with, data, from, team) { FitSeeing = !request.HoldSeeing, SeparateSeeing = fit.SeparateSeeing, ModeCount = fit.ModeCount };
        fit.CountSteps(steps);
        fit.Refresh();
    }

    // Models leave out what the seeing at their making hid; where it has become much better since, they show more.
    private void DrawFinelyEnough(ExactModels exact)
    {
        if (fit.States.Zip(models).Any(of => of.First.Seeing.Min() < of.Second.Optics.LeastSeeing))
        {
            PairModel[] coarse = models;
            Use(exact(Pupil, Offsets, fit.States), fit.States);
            End(coarse);
            Settle();
        }
    }

    private void Settle()
    {
        fit.Reweight(0);
        Descent.Run(fit, 2e-6, 12, hessian, warm);
    }

    private void Scan(double[] seeings)
    {
        for (int p = 0; p < models.Length; p++)
        {
            double nm = models[p].Optics.MeanWavelengthNm;
            StartScan.Run(models[p], data[p], fit.States[p], [.. seeings.Select(s => Seeing.StrengthFromFwhm(s, nm, request.ApertureMm))]);
        }

        fit.Refresh();
        fit.Reweight(0.2);
        fit.SolveLight();
    }

    private void MaskWild()
    {
        for (int p = 0; p < data.Length; p++)
        {
            for (int k = 0; k < 2; k++)
            {
                wild.AddRange(WildPixels.Mask(fit.Residuals[p][k], data[p].Use[k], data[p].Window).Select(at => (p, k, at)));
            }
        }
    }

    // A second star is believed when taking it out gains far more than three unknowns would by chance, and a part of the
    // misfit that counts.
    private void TakeOutCompanions()
    {
        double before = fit.Chi2 / fit.Points;
        PairState[] kept = [.. fit.States.Select(s => s.Copy())];
        CompanionSearch[] searches = [.. models.Select((m, p) => new CompanionSearch(m, data[p]))];
        bool any = false;
        for (int p = 0; p < models.Length; p++)
        {
            searches[p].Look(fit.States[p], fit.Residuals[p], before);
            any |= searches[p].Found;
        }

        if (!any)
        {
            return;
        }

        for (int round = 0; round < 3; round++)
        {
            for (int p = 0; p < models.Length; p++)
            {
                if (searches[p].Found)
                {
                    searches[p].Refine(fit.States[p]);
                }
            }

            Settle();

            // What has not come near to being believed after one round will not be after three.
            if (!Believed(before, fit.Chi2 / fit.Points, NearlyBelieved))
            {
                break;
            }
        }

        double after = fit.Chi2 / fit.Points;
        if (Believed(before, after, 1) && searches.Any(s => s.Counts))
        {
            Companions.AddRange(searches.Where(s => s.Counts).Select(s => s.Text));
            return;
        }

        foreach (CompanionSearch search in searches)
        {
            search.GiveUp();
        }

        fit.Place(kept);
        Settle();
    }

    private bool Believed(double before, double after, double share) =>
        (before - after) * fit.Points > share * 80 * Math.Max(1, after) && before - after > share * 0.1 * (before - 1);

    // Two exposures minutes apart need not share their seeing; the linear gain of letting them differ decides.
    private void AskForSeparateSeeing()
    {
        if (!fit.FitSeeing)
        {
            return;
        }

        fit.SeparateSeeing = true;
        Vector<double> gradient = fit.Derivatives.Gradient();
        Matrix<double> normal = hessian is null ? fit.Derivatives.NormalMatrix() : hessian.At(fit);
        double gain = PositiveDefinite.Inverse(normal) is { } inverse ? gradient * (inverse * gradient) : 0;
        if (gain > 14 * models.Length * Math.Max(1, fit.Chi2 / fit.Points))
        {
            Descent.Run(fit, 2e-6, 10, hessian);
        }
        else
        {
            fit.SeparateSeeing = false;
        }
    }

    // First among whole orders; where these do not suffice, among rings and finer orders too. While the misfit is large the look
    // ahead is rough, so it is taken again from where the fit then stands.
    private void ChooseOrders(bool again)
    {
        int[] first = [.. ladder.Rungs.Take(ladder.FirstRungs)];
        if ((again ? Choose(first) : fit.ModeCount) < first[^1] || ladder.Rungs.Count == first.Length)
        {
            return;
        }

        Settle();
        ShareSeeing();
        int[] all = [.. ladder.Rungs];
        for (int look = 0; look < MostLooks; look++)
        {
            double before = fit.Chi2;
            int had = fit.ModeCount;
            if (Choose(all) == had)
            {
                break;
            }

            Settle();
            if (before - fit.Chi2 < 0.05 * before)
            {
                break;
            }
        }

        AskForSeparateSeeing();
        TakeBackWild();
    }

    // What stood out from a model without rings may be the rim of a turned edge; the next look at wild pixels has a better model.
    private void TakeBackWild()
    {
        foreach ((int p, int k, int at) in wild)
        {
            data[p].Use[k][at] = 1;
        }

        wild.Clear();
        fit.Reweight(0);
        MaskWild();
        fit.Reweight(0);
    }

    // Two seeings may have stood in for modes that were missing.
    private void ShareSeeing()
    {
        if (fit.FitSeeing && fit.SeparateSeeing)
        {
            fit.SeparateSeeing = false;
            foreach (PairState s in fit.States)
            {
                s.Seeing[0] = s.Seeing[1] = 0.5 * (s.Seeing[0] + s.Seeing[1]);
            }

            fit.Place(fit.States);
        }
    }

    private int Choose(int[] offers)
    {
        fit.Reweight(0);
        fit.ModeCount = offers[^1];
        (Matrix<double> normal, Vector<double> gradient) = offers.Length > 1 ? fit.Derivatives.NormalEquations() : default;
        return Take(offers, normal, gradient);
    }

    // The best of the offers by the normal equations of the largest.
    private int Take(int[] offers, Matrix<double>? normal, Vector<double>? gradient)
    {
        if (offers.Length > 1 && normal is not null && gradient is not null)
        {
            int best = OrderChoice.Best(normal, gradient, fit.States[0].CoefficientsNm, fit.Chi2, fit.Points, offers);
            foreach (PairState state in fit.States)
            {
                Array.Clear(state.CoefficientsNm, best, state.CoefficientsNm.Length - best);
            }

            fit.ModeCount = best;
            fit.Place(fit.States);
        }

        StoppedEarly = fit.ModeCount < ladder.Rungs[^1];
        return fit.ModeCount;
    }
}

/// <summary>Makes exact models, one a pair.</summary>
/// <param name="pupil">The stated one, or one with vanes that were found.</param>
/// <param name="offsets">How far inputs are off the stated ones.</param>
/// <param name="at">Where the fit stands: its seeing says how finely to draw.</param>
internal delegate PairModel[] ExactModels(PupilShape pupil, InputOffsets offsets, PairState[] at);
