using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>What can be wrong with the input, before and after the fit.</summary>
internal static class FitChecks
{
    /// <summary>Chi squared per point from which the model is called wrong, and far wrong. The second is where the trials with
    /// undeclared errors began to be off by more than their widened bars.</summary>
    internal const double MisfitFrom = 1.3;
    private const double LargeMisfitFrom = 8;

    // The reading with both images on one side is tried to the end when its rough fit leaves less than this many times the first one's chi
    // squared, and believed when the finished fit is good in itself and leaves less than this share of what the first one has above the
    // noise. (Seen on tuning pairs: 0 to 0.05 of it and 1.0 to 1.3 for images of one side, 0.2 to 0.3 and 4.6 to 17 for a wrong obstruction.)
    private const double WorthATry = 1.25;
    private const double ExcessLeft = 0.15;
    private const double GoodInItself = 2;

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
                        $"{request.Frames[a].Name} and {request.Frames[b].Name} hold the very same pixels. Give one image from inside and one from outside " +
                            "of focus.", request.Frames[b].Name);
                }
            }
        }
    }

    public static void AfterReading(WavefrontRequest request, PairPreparation[] prepared, List<Note> notes)
    {
        double wavelength = request.WavelengthsNm.Average();
        for (int p = 0; p < prepared.Length; p++)
        {
            PairPreparation pair = prepared[p];
            int holes = 0;
            for (int k = 0; k < 2; k++)
            {
                string name = request.Frames[(2 * p) + k].Name;
                double waves = Math.Abs(pair.Start.DefocusNm[k]) / wavelength;
                double diameter = pair.Stars[k].Diameter;
                if (pair.Cut[k] > 0.1)
                {
                    throw new CannotMeasureException("wavefront.star-cut",
                        $"{100 * pair.Cut[k]:F0} % of the star's disc in {name} lies outside the frame. Take the image again with the star farther from the " +
                            "edge.", name);
                }

                if (pair.Cut[k] > 0.005)
                {
                    notes.Add(WavefrontNotes.StarCut.Say($"{100 * pair.Cut[k]:F1} % of the disc in {name} lies outside the frame; the rest was used.", name));
                }

                if (diameter < 10 || waves < 1.2)
                {
                    throw new CannotMeasureException("wavefront.too-little-defocus",
                        $"The star in {name} is only {diameter:F0} pixels wide, {waves:F1} waves out of focus. Defocus by 5 to 10 waves, " +
                            $"{5e-3 * 8 * wavelength * request.FocalRatio * request.FocalRatio / 1000:F2} to " +
                            $"{10e-3 * 8 * wavelength * request.FocalRatio * request.FocalRatio / 1000:F2} mm here.", name);
                }

                if (waves < 3)
                {
                    notes.Add(WavefrontNotes.LittleDefocus.Say($"{name} is only {waves:F1} waves out of focus; 5 to 10 are better.", name));
                }

                double area = Math.PI / 4 * diameter * diameter;
                if (pair.Clipped[k] > 0.15 * area)
                {
                    throw new CannotMeasureException("wavefront.saturated",
                        $"{pair.Clipped[k]} pixels of the star in {name} are saturated, {100 * pair.Clipped[k] / area:F0} % of the disc. Expose shorter or " +
                            "choose a fainter star.", name);
                }

                if (pair.Clipped[k] > 0)
                {
                    notes.Add(WavefrontNotes.Clipped.Say($"{pair.Clipped[k]} saturated pixels in {name} were left out. Expose a little shorter next time.",
                        name));
                }

                holes += HoleDepth(pair, k) < 0.35 ? 1 : 0;
            }

            if (holes == 2 && request.Pupil.Obstruction < 0.1)
            {
                notes.Add(WavefrontNotes.Hole.Say(
                    $"Both discs are dark in the middle, but the obstruction is given as {request.Pupil.Obstruction:F2}. Declare the central obstruction " +
                        "(secondary's diameter over the aperture) and fit again."));
            }
        }
    }

    public static void AfterFit(WavefrontRequest request, PairPreparation[] prepared, FitRun run, List<Note> notes, Team team, RunContext context)
    {
        double chi2 = run.ChiSquared;
        if (chi2 > MisfitFrom && notes.All(n => n.Code != WavefrontNotes.Hole.Code))
        {
            RefuseSameSide(request, prepared, run, team, context);
        }

        if (chi2 > LargeMisfitFrom)
        {
            notes.Add(WavefrontNotes.MisfitLarge.Say(
                $"Chi squared is {chi2:F1} per point: the model does not describe these images. Check aperture, focal length, obstruction, vanes and " +
                    "wavelength, whether one image is inside and one outside, and the residual images; a turned edge also does this."));
        }
        else if (chi2 > MisfitFrom)
        {
            notes.Add(WavefrontNotes.Misfit.Say(
                $"Chi squared is {chi2:F2} per point; the bars have been widened. Look at the residual images for vanes, a second star or a finer error of " +
                    "the figure."));
        }

        if (chi2 < 0.55)
        {
            notes.Add(WavefrontNotes.GainDoubtful.Say(
                $"Chi squared is {chi2:F2} per point, less than photons allow with the stated gain. Give the gain in electrons per ADU."));
        }

        for (int i = 0; i < request.Frames.Count; i++)
        {
            double ratio = prepared[i / 2].NoiseRatio[i % 2];
            double bias = prepared[i / 2].BiasAdu[i % 2];
            if (double.IsFinite(bias))
            {
                notes.Add(WavefrontNotes.BiasIn.Say(
                    $"The sky in {request.Frames[i].Name} is quieter than its level: a bias of about {bias:F0} ADU is still in. It is fitted with the " +
                        "background and changes nothing here.", request.Frames[i].Name));
            }
            else if (ratio is > 2.5 or < 0.4)
            {
                notes.Add(WavefrontNotes.GainDoubtful.Say(
                    $"The sky in {request.Frames[i].Name} has {ratio:G2} times the variance that the stated gain and read noise allow. The gain may be a " +
                        "camera setting instead of electrons per ADU; the noise seen was used.", request.Frames[i].Name));
            }
        }

        if (run.Strategy.Wild > 0)
        {
            notes.Add(WavefrontNotes.Wild.Say($"{run.Strategy.Wild} pixels that stand out from the model and their neighbors were masked (hot pixels, " +
                "particle hits)."));
        }

        foreach (string companion in run.Strategy.Companions)
        {
            notes.Add(WavefrontNotes.Companion.Say(companion));
        }

        if (run.Fit.SeparateSeeing)
        {
            notes.Add(WavefrontNotes.SeeingChanged.Say("Seeing differed between the images and was fitted for each."));
        }

        Distances(request, run, notes);
        Exposures(request, run, notes);
    }

    // Mean brightness of the inner fifth of the radius against the mean of the whole disc.
    private static double HoleDepth(PairPreparation pair, int k)
    {
        int w = pair.Data.Window;
        double perNm = -2e-3 * pair.FocalRatio / pair.PitchUm;
        double cx = (w / 2) + (pair.Start.TiltXNm[k] * perNm);
        double cy = (w / 2) + (pair.Start.TiltYNm[k] * perNm);
        double radius = pair.Stars[k].Diameter / pair.Bin / 2;
        (double inner, int inside, double all, int total) = (0, 0, 0, 0);
        for (int i = 0; i < w * w; i++)
        {
            double r = Math.Sqrt(Math.Pow((i % w) - cx, 2) + Math.Pow((i / w) - cy, 2));
            if (r < radius && pair.Data.Use[k][i] != 0)
            {
                all += pair.Data.Electrons[k][i];
                total++;
                if (r < Math.Max(0.2 * radius, 1.5))
                {
                    inner += pair.Data.Electrons[k][i];
                    inside++;
                }
            }
        }

        return inside == 0 || all <= 0 ? 1 : inner / inside / (all / total);
    }

    private static void RefuseSameSide(WavefrontRequest request, PairPreparation[] prepared, FitRun run, Team team, RunContext context)
    {
        double rough = run.RoughChi2(request, prepared, team, context);
        foreach (int flipped in new[] { 0, 1 })
        {
            PairPreparation[] other = [.. prepared.Select(p => p.WithFlippedSide(flipped))];
            if (run.Tried(request, other, team, context) >= WorthATry * rough)
            {
                continue;
            }

            // Rough fits know no edges and zones and are far off for both readings when there are such: finished fits decide. A wrong pupil
            // fits neither, whichever of them is better.
            using FitRun finished = FitRun.Make(run.Near(request), other, run.Modes, team, context);
            if (finished.ChiSquared < GoodInItself && finished.ChiSquared - 1 < ExcessLeft * (run.ChiSquared - 1))
            {
                throw new CannotMeasureException("wavefront.same-side",
                    "Both images look as if taken on the same side of focus. Take one with the sensor nearer to the objective than best focus and one " +
                        "farther away.", request.Frames[1].Name);
            }
        }
    }

    private static void Distances(WavefrontRequest request, FitRun run, List<Note> notes)
    {
        for (int i = 0; i < request.DistancesUm.Length; i++)
        {
            double stated = request.DistancesUm[i];
            double seen = run.Models[i / 2].Optics.DistanceUm(run.Fit.States[i / 2].DefocusNm[i % 2], request.FocalLengthMm);
            if (double.IsFinite(stated) && Math.Abs(seen - stated) > Math.Max(0.06 * Math.Abs(stated),
                0.3e-3 * run.Models[0].Optics.MeanWavelengthNm * 8 * request.FocalRatio * request.FocalRatio))
            {
                notes.Add(WavefrontNotes.DistanceContradicts.Say(
                    $"The disc in {request.Frames[i].Name} says {seen:F0} um from focus, {stated:F0} um were stated. One of focal length, aperture, pixel " +
                        "pitch and distance is wrong; a wrong focal ratio would falsify the wavefront.", request.Frames[i].Name));
            }
        }
    }

    private static void Exposures(WavefrontRequest request, FitRun run, List<Note> notes)
    {
        if (run.Fit.States.All(s => s.Seeing.Max() < 0.05))
        {
            return; // no air to speak of: an artificial star
        }

        if (request.Frames.Any(f => !(f.ExposureS > 0)))
        {
            notes.Add(WavefrontNotes.ExposureUnknown.Say("The exposure time is not known; the bars hold what turbulence leaves in " +
                $"{Uncertainties.UnknownExposureS:G2} s. Give it with the frames, and take several pairs."));
        }
        else if (request.Frames.Min(f => f.ExposureS) < 5)
        {
            notes.Add(WavefrontNotes.ExposureShort.Say($"The shortest exposure is {request.Frames.Min(f => f.ExposureS):G3} s; 20 to 30 s average the " +
                "seeing. The bars allow for it, but take several pairs."));
        }
    }
}
