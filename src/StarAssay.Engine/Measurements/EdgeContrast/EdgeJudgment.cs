using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.EdgeContrast;

/// <summary>What the reader must know of a measured edge.</summary>
internal sealed class EdgeJudgment(EdgeContrastRequest request, EdgeFinding finding, EdgeStrip strip, EdgeAnalysis analysis, double scale)
{
    // Roughness left in the pieces, and the edge's bend over its width, that make it no sharp straight edge any more.
    private const double MostRough = 0.09, MostBent = 0.04;

    private bool Moon => request.Subject == EdgeSubject.Moon;

    /// <summary>Says it all.</summary>
    public List<Note> Notes(Measured glare, double distance, bool patch, List<EdgeGhost> ghosts)
    {
        var notes = new List<Note>
        {
            EdgeContrastNotes.Method.Say($"Slanted-edge method in the sense of ISO 12233 over {strip.Pieces} pieces of the edge, {strip.Reach:0} pixels to "
                + "either side: light scattered farther is glare and not in the MTF. The uncertainties are what leaving out each sixteenth of the edge in "
                + "turn changes, and what the method leaves."),
            EdgeContrastNotes.NotCorrected.Say(Left()),
        };
        if (Moon)
        {
            notes.Add(EdgeContrastNotes.Sun.Say("The Moon through a large aperture does no harm but dazzles: look through a filter or not at all, the "
                + "camera does not mind. Never do the same with the Sun's limb without a certified filter over the whole front of the telescope and its "
                + "finder. Local rules come first."));
            if (double.IsNaN(request.PhaseAngleDeg))
            {
                notes.Add(EdgeContrastNotes.Phase.Say("The Moon's phase angle was not given, so how its brightness falls from the limb inward was not "
                    + "known; the bars hold phases from full Moon to 60 degrees. Give phase_angle, from an almanac."));
            }
        }

        Edge(notes);
        Dark(notes, glare, distance, patch, ghosts);
        return notes;
    }

    private string Left()
    {
        string air = double.IsNaN(request.SeeingArcsec) ? "the air's seeing (give seeing to take it out)" : "what the seeing differed from the one given";
        string own = Moon ? $", and the Moon's relief finer than {strip.Length * scale:0.#} arcsec along the limb" : ", and the edge's own unsharpness";
        return $"Not corrected: {air}, tracking and vibration, focus, colors of the whole passband at once{own}. The pixel is taken out of the frequency "
            + "of half contrast alone, not out of the width.";
    }

    private void Edge(List<Note> notes)
    {
        if (strip.Follows)
        {
            string shape = finding.Arc.Radius < 1e5 ? "circle" : "straight line";
            notes.Add(EdgeContrastNotes.Followed.Say($"The edge departs from a {shape} by {strip.Roughness:0.00} pixels RMS "
                + $"({strip.Roughness * scale:0.00} arcsec) and was followed in pieces of {strip.Length:0} pixels."));
        }

        double width = analysis.Whole.Width;
        if (strip.LeftRoughness > MostRough * width)
        {
            notes.Add(EdgeContrastNotes.Rough.Say($"Within pieces of {strip.Length:0} pixels the edge is rough by {strip.LeftRoughness:0.00} pixels RMS "
                + $"beside a width of {width:0.0}: what was measured is the edge itself. Choose a smoother part of it."));
        }

        if (width / finding.Arc.Radius > MostBent)
        {
            notes.Add(EdgeContrastNotes.Curved.Say($"The edge bends with a radius of {finding.Arc.Radius:0} pixels, its image is {width:0.0} pixels wide: "
                + "the MTF of a straight edge does not hold. Choose a larger or a straight edge."));
        }

        if (analysis.Spread.Evenness < 0.2)
        {
            notes.Add(EdgeContrastNotes.Slant.Say("The edge lies nearly along the pixels' rows, their columns or a diagonal: few phases of the pixels "
                + "were seen. Turn the camera by a few degrees."));
        }

        int good = strip.Good.Count(g => g);
        if (good < 8 || good < 0.4 * strip.Pieces)
        {
            notes.Add(EdgeContrastNotes.Short.Say($"{good * strip.Length:0} pixels of the edge serve, {100.0 * good / strip.Pieces:0} % of what was found; "
                + "the rest is hidden, too faint or cut by the frame."));
        }
    }

    private void Dark(List<Note> notes, Measured glare, double distance, bool patch, List<EdgeGhost> ghosts)
    {
        if (double.IsNaN(request.BiasLevelAdu))
        {
            notes.Add(EdgeContrastNotes.NoBias.Say("The level without light is not known, so glare was not measured. Give bias (a bias or dark frame) or "
                + "bias_level."));
        }
        else if (patch)
        {
            notes.Add(EdgeContrastNotes.GlareSurround.Say("The index is that of the bright field as it was: light that would come from beyond its rim is "
                + "not in it. ISO 9358 means a field that fills the view and more."));
        }
        else
        {
            string also = Moon ? "The air's own halo and a bright sky are in it." : "Light from the room is in it.";
            notes.Add(EdgeContrastNotes.GlareOneSided.Say("The light stands on one side of the edge alone, so that this is no veiling glare index in the "
                + $"sense of ISO 9358, which is that of a small black patch with light all round. {also}"));
            if (double.IsNaN(glare.Value))
            {
                notes.Add(EdgeContrastNotes.GlareBeyond.Say($"The frame does not show the dark at {request.GlareDistanceArcmin:0.##} arcmin ({distance:0} "
                    + "pixels) from the edge. Give another glare_distance."));
            }
        }

        foreach (EdgeGhost ghost in ghosts)
        {
            notes.Add(EdgeContrastNotes.Ghost.Say($"A patch of light of {ghost.AreaPx:0} pixels at ({ghost.X:0}, {ghost.Y:0}), {ghost.DistancePx:0} pixels "
                + $"from the edge, with {100 * ghost.Level:0.###} % of the bright side: a ghost of the optics, or something in the sky. A ghost moves "
                + "against the Moon when the telescope is moved."));
        }
    }
}
