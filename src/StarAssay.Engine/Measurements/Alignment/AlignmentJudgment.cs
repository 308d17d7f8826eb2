using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Alignment;

/// <summary>What the reader must know of a fitted disc.</summary>
internal sealed class AlignmentJudgment(AlignmentRequest request, DiscCutout cutout, DiscFit fit, List<Note> notes)
{
    // Chi squared from which the model is called wrong, and far wrong, as for a wavefront.
    private const double MisfitFrom = 1.3, LargeMisfitFrom = 8;

    // A shadow this much larger or smaller than declared is said.
    private const double ObstructionOff = 0.06;

    // Light beside the star: by its noise, and over the level of the disc.
    private const double LightTold = 8, LightCounts = 0.05;

    /// <summary>Says it all.</summary>
    /// <param name="rings">Edges and rings as traced one by one.</param>
    /// <param name="comaTold">Whether coma stands out.</param>
    /// <param name="oriented">Whether it is known how the camera lies.</param>
    /// <param name="share">Decentre over the blur radius.</param>
    public void Say(List<AlignmentRing> rings, bool comaTold, bool oriented, double share)
    {
        notes.Add(AlignmentNotes.Method.Say(
            "The image of the star as diffraction, seeing and pixels make it was fitted to every pixel of the disc; edges and rings are circles of that "
            + "fit, to first order in the aberrations. The bars hold photons, misfit, "
            + $"{100 * request.ScaleUncertainty:0.##} % of the image scale, and turbulence with air moving at {request.WindMPerS:0.#} m/s."));
        if (comaTold)
        {
            Turning(oriented);
        }

        bool obstructed = request.Pupil.Obstruction > 0;
        if (!obstructed)
        {
            notes.Add(AlignmentNotes.Unobstructed.Say(
                "Without an obstruction there is no shadow to be out of the middle: the rings show coma alone. They do not show which element is out of "
                + "place, nor elements whose errors cancel on the axis; color fringes to one side and a tilted field may come from those."));
        }
        else if (cutout.Count == 1)
        {
            notes.Add(AlignmentNotes.OneSide.Say(
                "One image alone tells coma from an obstruction out of the middle of the aperture only by which side of the rings is brighter. A second "
                + "image from the other side of focus tells them apart at once: there coma moves the shadow the same way, the obstruction the opposite way."));
        }

        for (int k = 0; k < cutout.Count; k++)
        {
            Exposure(k);
            Cut(k);
            OtherLight(k);
            RingsDiffer(k, rings);
        }

        Pupil(obstructed);
        Misfit();
        if (share > 0.15)
        {
            notes.Add(AlignmentNotes.Large.Say(
                $"The decentre is {100 * share:0} % of the blur radius: rings are no circles any more, and the amount is good to a few per cent only. Its "
                + "direction stands."));
        }
    }

    private void Turning(bool oriented)
    {
        notes.Add(AlignmentNotes.Turning.Say(
            "Turn one screw by an eighth of a turn at a time, note which and how far, bring the star back to the middle of the field, and measure again. "
            + "Only screws that the maker means for the owner: a lens cell is the maker's or a qualified optician's to open. Never point a telescope at "
            + "or near the Sun, and never look into a laser nor at its reflection through an eyepiece. Local rules come first."));
        if (!oriented)
        {
            notes.Add(AlignmentNotes.ImageOnly.Say(
                "The direction is told in the image alone (x to the right, y up), since it is not known how the camera lies. Hold a hand before the top of "
                + "the aperture, then before its right-hand edge as seen looking along the tube to the sky, and give the directions in which its shadow "
                + "falls in the first image: top=, right=."));
        }
    }

    private void Exposure(int k)
    {
        double exposure = request.Frames[k].ExposureS;
        string name = request.Frames[k].Name;
        if (fit.State.Seeing[k] < 0.05)
        {
            return; // no air to speak of
        }

        if (!(exposure > 0))
        {
            notes.Add(AlignmentNotes.Air.Say($"The exposure of {name} is not known; the bars hold what turbulence leaves in 1 s.", name));
        }
        else if (exposure < 5)
        {
            notes.Add(AlignmentNotes.ShortExposure.Say(
                $"{name} was exposed for {exposure:0.##} s; 20 to 30 s average the seeing. The bars allow for it, but take several.", name));
        }
    }

    // The finder takes the middle of what is left of a disc: only the fit knows how much of it is missing.
    private void Cut(int k)
    {
        (double x, double y) = DiscCircles.Middle(fit, k, 1);
        double cut = DiscCutout.CheckCut(request.Frames[k], cutout.InFrame(k, x, y), cutout.Binning * DiscCircles.Radius(fit, k, 1));
        if (cut > 0.005)
        {
            notes.Add(AlignmentNotes.Cut.Say(
                $"{100 * cut:0.0} % of the disc in {request.Frames[k].Name} lies outside the frame: the outer edge is not seen all round. Take the image "
                + "again with the star farther from the edge.", request.Frames[k].Name));
        }
    }

    private void Pupil(bool obstructed)
    {
        double seen = fit.Optics.Shape.Obstruction, stated = request.Pupil.Obstruction;
        if (!obstructed && Depth() < 0.35)
        {
            notes.Add(AlignmentNotes.Hole.Say(
                "The disc is dark in the middle, but no obstruction was declared. Give obstruction, the secondary's diameter over the aperture, and measure "
                + "again."));
        }

        if (obstructed && Math.Abs((seen / stated) - 1) > ObstructionOff)
        {
            notes.Add(AlignmentNotes.Obstruction.Say(
                $"The shadow shows an obstruction of {seen:0.00}, {stated:0.00} was stated. The one seen was used; check the secondary or its baffle, focal "
                + "length and pixel pitch."));
        }
    }

    private void Misfit()
    {
        if (fit.Companion is { } companion)
        {
            notes.Add(AlignmentNotes.Neighbor.Say(companion));
        }

        double chi = fit.ChiSquared;
        if (chi > LargeMisfitFrom)
        {
            notes.Add(AlignmentNotes.MisfitLarge.Say(
                $"Chi squared is {chi:0.0} per point: the model does not describe the image. Check aperture, focal length, obstruction, vanes, wavelength "
                + "and pixel pitch, and that the star is alone."));
        }
        else if (chi > MisfitFrom)
        {
            notes.Add(AlignmentNotes.Misfit.Say(
                $"Chi squared is {chi:0.00} per point; the bars have been widened. Look at the residuals for vanes, a second star or an error finer than the "
                + "fit has."));
        }
    }

    // Mean level of the inner fifth of the radius over that of the disc, the brighter of both images.
    private double Depth()
    {
        int w = cutout.Data.Window;
        double depth = 0;
        for (int k = 0; k < cutout.Count; k++)
        {
            float[] use = cutout.Data.Use[k], electrons = cutout.Data.Electrons[k];
            (double x, double y) = DiscCircles.Middle(fit, k, 0.3);
            double radius = fit.Optics.BlurPixels(fit.State.DefocusNm[k]) / 2;
            double Level(double within) => Enumerable.Range(0, w * w)
                .Where(p => use[p] > 0 && Math.Pow((p % w) - x, 2) + Math.Pow((p / w) - y, 2) < within * within)
                .Select(p => (double)electrons[p]).DefaultIfEmpty(0).Average();
            depth = Math.Max(depth, Level(Math.Max(1.5, 0.2 * radius)) / Math.Max(Level(radius), 1e-9));
        }

        return depth;
    }

    // Light in the window that the model does not have, in squares of a quarter of the disc.
    private void OtherLight(int k)
    {
        int w = cutout.Data.Window;
        double disc = fit.Optics.BlurPixels(fit.State.DefocusNm[k]), level = fit.State.Flux[k] / (Math.PI / 4 * disc * disc);
        int cell = Math.Max(4, (int)(disc / 4));
        float[] model = fit.Fit.ModelElectrons(0, k);
        double worst = 0;
        for (int y = 0; y + cell <= w; y += cell)
        {
            for (int x = 0; x + cell <= w; x += cell)
            {
                double more = 0, variance = 0;
                for (int p = 0; p < cell * cell; p++)
                {
                    int at = ((y + (p / cell)) * w) + x + (p % cell);
                    if (cutout.Data.Use[k][at] > 0)
                    {
                        more += cutout.Data.Electrons[k][at] - model[at];
                        variance += Math.Max(0, model[at]) + cutout.Data.BaseVariance[k][at];
                    }
                }

                bool told = more > LightTold * Math.Sqrt(variance * fit.Inflation);
                worst = told ? Math.Max(worst, more / (level * cell * cell)) : worst;
            }
        }

        if (worst > LightCounts)
        {
            notes.Add(AlignmentNotes.OtherLight.Say(
                $"Beside the star in {request.Frames[k].Name} there is light that is not its own, {100 * worst:0} % of its disc's level: a neighbor or a "
                + "reflection. Choose a star that stands alone.", request.Frames[k].Name));
        }
    }

    // The shadow against the outer edge, each traced by itself, beside what the fit has.
    private void RingsDiffer(int k, List<AlignmentRing> rings)
    {
        AlignmentRing? shadow = rings.Find(r => r.Image == k && r.Kind == "shadow"), edge = rings.Find(r => r.Image == k && r.Kind == "outer edge");
        if (shadow is null || edge is null)
        {
            return;
        }

        double x = shadow.ShiftX.Value - edge.ShiftX.Value - shadow.ExpectedX, y = shadow.ShiftY.Value - edge.ShiftY.Value - shadow.ExpectedY;
        var bars = Vector<double>.Build.DenseOfArray(
            [shadow.ShiftX.Uncertainty, edge.ShiftX.Uncertainty, shadow.ShiftY.Uncertainty, edge.ShiftY.Uncertainty]);
        double apart = Math.Sqrt((x * x) + (y * y)), blur = DiscCircles.BlurRadiusUm(fit, k) / cutout.FramePitchUm;
        double decentre = Math.Sqrt(Math.Pow(shadow.ExpectedX, 2) + Math.Pow(shadow.ExpectedY, 2));

        // Tracing is of first order in the decentre, and blurred by the rings of a disc of few waves.
        bool told = Math.Abs(fit.State.DefocusNm[k]) > 3.5 * fit.Optics.MeanWavelengthNm && apart > 5 * bars.L2Norm();
        if (told && apart > (0.03 * blur) + (0.2 * decentre))
        {
            notes.Add(AlignmentNotes.RingsDiffer.Say(
                $"Shadow and outer edge of {request.Frames[k].Name}, traced one by one, lie {apart:0.0} pixels from where the fit has them: not decided. Look "
                + "at the residuals.", request.Frames[k].Name));
        }
    }
}
