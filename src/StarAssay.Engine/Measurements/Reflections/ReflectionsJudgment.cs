using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Reflections;

/// <summary>What the reader must know of a photo of reflections.</summary>
internal sealed class ReflectionsJudgment(ReflectionsRequest request, PhotoEdges edges, ReflectionCircle[] circles, List<ReflectionPair> pairs)
{
    // Width of an edge over the radius; tilt of a circle against the line of sight; departure from an ellipse over the radius.
    private const double SoftWidth = 0.08, MostWidth = 0.25, SlantedDeg = 1.5, MostOblique = 4, MostRough = 0.02;

    // Width of an edge over that of the photo's others from which it is doubted.
    private const double WiderThanOthers = 2;

    // Shares of an outline.
    private const double SomeClipped = 0.02, LeastSeen = 0.8;

    /// <summary>Says it all.</summary>
    public List<Note> Notes(bool tilt, bool aim)
    {
        var notes = new List<Note>();
        if (circles.Length == 1)
        {
            notes.Add(ReflectionsNotes.OneCircle.Say($"One circle alone was found in {edges.Frame.Name}: there is nothing that it could be out of the "
                + "middle of. Light the plate better, focus on the objective's edge, and take the photo again."));
        }
        else if (pairs.Count == 0)
        {
            notes.Add(ReflectionsNotes.Apart.Say("None of the circles lies inside another: this does not look like reflections round one axis. Look at "
                + "the picture."));
        }

        int[] named = [.. new[] { request.Objective, request.Spot, request.Sight }.Where(n => n > 0)];
        foreach (ReflectionCircle circle in circles)
        {
            var own = new List<Note>();
            OneCircle(own, circle);

            // A glint or a screw's head that is no circle forbids nothing of those that were named.
            bool other = named.Length > 1 && !named.Contains(circle.Number);
            notes.AddRange(own.Select(n => other && n.Level == NoteLevel.Doubt ? n with { Level = NoteLevel.Caution } : n));
        }

        Beside(notes, named);
        Roles(notes);
        notes.Add(ReflectionsNotes.Method.Say("Edges are fitted in the photo's own pixels all round, an ellipse to them, and its middle made that of "
            + "the circle by the camera's angle of view. The bars hold how edges depart from it, what is not known of the camera, and circles seen from "
            + "the side."));
        if (double.IsNaN(request.Distortion) && double.IsNaN(request.DistortionUncertainty))
        {
            notes.Add(ReflectionsNotes.Distortion.Say("The distortion of the camera's lens is not known; the bars hold 1 % at the picture's corner. Put "
                + "the circles in the middle of the photo, or give distortion."));
        }

        if (double.IsNaN(request.FieldOfViewDeg))
        {
            notes.Add(ReflectionsNotes.Field.Say("The camera's angle of view is not known; the bars hold 30 to 76 deg from corner to corner. Put the "
                + "circles in the middle of the photo, or give field_of_view of the whole picture, not cropped."));
        }

        if (tilt || aim)
        {
            string eye = aim ? " It weighs most in where the focuser aims: a smaller hole or a longer sighting eyepiece helps." : "";
            notes.Add(ReflectionsNotes.Geometry.Say("Tilts rest on the diameter and distances as given (1 % each) and on a camera that looks through "
                + $"the middle of the hole within {request.ViewpointUncertaintyMm:0.##} mm.{eye} Directions are those of the photo; mirrors on the way "
                + "turn them over."));
        }

        notes.Add(ReflectionsNotes.Caution.Say("Look in by the light of the plate alone: never with a laser in the focuser, and never with the tube "
            + "near the Sun. Turn only screws that the maker means for the owner; a lens cell is the maker's or a qualified optician's to open. Never "
            + "loosen a mirror's screw out of its thread."));
        return notes;
    }

    private static void OneCircle(List<Note> notes, ReflectionCircle circle)
    {
        string name = $"circle {circle.Number}";
        double radius = circle.Radius.Value;
        if (circle.Clipped > OutlineTrace.MostClipped)
        {
            notes.Add(ReflectionsNotes.ClippedMost.Say($"{Capital(name)}: {100 * circle.Clipped:0} % of its edge have a clipped bright side, which "
                + "moves the edge. Expose shorter, or dim the plate.", name));
        }
        else if (circle.Clipped > SomeClipped)
        {
            notes.Add(ReflectionsNotes.Clipped.Say($"{Capital(name)}: {100 * circle.Clipped:0} % of its edge have a clipped bright side and were left "
                + "out. Expose shorter.", name));
        }

        if (circle.EdgeWidthPx > MostWidth * radius)
        {
            notes.Add(ReflectionsNotes.Blurred.Say($"{Capital(name)} is blurred over {circle.EdgeWidthPx:0.#} pixels with a radius of {radius:0.#}: out "
                + "of focus or shaken. Rest the camera, focus on this circle, or take another photo of it.", name));
        }
        else if (circle.EdgeWidthPx > SoftWidth * radius && circle.EdgeWidthPx > 4)
        {
            notes.Add(ReflectionsNotes.Soft.Say($"{Capital(name)} is soft: {circle.EdgeWidthPx:0.#} pixels with a radius of {radius:0.#}. Its middle "
                + "holds where the light round it is even.", name));
        }

        if (circle.ObliqueDeg > MostOblique)
        {
            notes.Add(ReflectionsNotes.Oblique.Say($"{Capital(name)} is seen {circle.ObliqueDeg:0} deg from the side (axes as {circle.AxisRatio:0.00} "
                + "to 1): what lies in the middle is not seen there. Hold the camera straight before the hole.", name));
        }
        else if (circle.ObliqueDeg > SlantedDeg)
        {
            notes.Add(ReflectionsNotes.Slanted.Say($"{Capital(name)} is seen {circle.ObliqueDeg:0} deg from the side; the bars hold what that may do to "
                + "its middle. Hold the camera straight before the hole.", name));
        }

        if (circle.RoughnessPx > Math.Max(MostRough * radius, 0.3))
        {
            notes.Add(ReflectionsNotes.Rough.Say($"{Capital(name)} departs from an ellipse by {circle.RoughnessPx:0.#} pixels RMS with a radius of "
                + $"{radius:0.#}: not a round edge, or shaken.", name));
        }

        if (circle.Covered < LeastSeen)
        {
            string why = circle.Inside < 0.97 ? $"{100 * (1 - circle.Inside):0} % lie outside the photo" : "the rest is hidden, clipped or too faint";
            notes.Add(ReflectionsNotes.Part.Say($"Of {name} {100 * circle.Covered:0} % serve; {why}.", name));
        }
    }

    // Edges that blur into each other, and edges so wide that they may be two.
    private void Beside(List<Note> notes, int[] named)
    {
        double usual = Robust.Median(circles.Select(c => c.EdgeWidthPx));
        foreach (ReflectionCircle circle in circles.Where(c => named.Length < 2 || named.Contains(c.Number)))
        {
            ReflectionCircle? near = circles.Where(c => c != circle).FirstOrDefault(c => Gap(c, circle) < Math.Max(c.EdgeWidthPx, circle.EdgeWidthPx));
            if (near is not null)
            {
                notes.Add(ReflectionsNotes.Beside.Say($"Circles {near.Number} and {circle.Number} come as near to each other as their edges are wide: each "
                    + "moves the other. Take a sharper or a larger photo.", $"circle {circle.Number}"));
            }
            else if (circle.EdgeWidthPx > WiderThanOthers * usual)
            {
                notes.Add(ReflectionsNotes.Beside.Say($"The edge of circle {circle.Number} is {circle.EdgeWidthPx:0.#} pixels wide, those of the others "
                    + $"{usual:0.#}: it is out of focus, or two edges in one. Focus on it, or take a larger photo.", $"circle {circle.Number}"));
            }
        }
    }

    private static double Gap(ReflectionCircle a, ReflectionCircle b)
    {
        double apart = Math.Sqrt(Math.Pow(a.PictureX - b.PictureX, 2) + Math.Pow(a.PictureY - b.PictureY, 2));
        return apart > a.Radius.Value + b.Radius.Value ? double.PositiveInfinity : Math.Abs(a.Radius.Value - b.Radius.Value) - apart;
    }

    private void Roles(List<Note> notes)
    {
        int objective = request.Objective, spot = request.Spot, sight = request.Sight;
        if (circles.Length > 1 && (objective == 0 || spot == 0))
        {
            notes.Add(ReflectionsNotes.Roles.Say("Circles are numbered from the largest. Say which is the objective's edge (objective), which the dark "
                + "spot of the hole (spot) and which the focuser's far end (sight), to hold them against claims and get tilts."));
        }

        if (objective > 0 && spot > 0 && !pairs.Any(p => p.Outer == objective && p.Inner == spot))
        {
            notes.Add(ReflectionsNotes.RoleApart.Say($"Circle {spot}, called the spot, does not lie inside circle {objective}, called the objective. "
                + "Look at the numbers in the picture."));
        }

        if (spot > 0 && circles[spot - 1].BrightInside)
        {
            notes.Add(ReflectionsNotes.RoleApart.Say($"Circle {spot}, called the dark spot, is bright inside. Look at the numbers in the picture."));
        }
    }

    private static string Capital(string text) => char.ToUpperInvariant(text[0]) + text[1..];
}
