using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Reflections;

/// <summary>Round outlines in a photo of the reflections that a sighting eyepiece shows, and how well they have one middle.</summary>
public static class ReflectionsMeasurement
{
    private const int Most = 12;

    // Of an outline in the photo at least this share must be used.
    private const double LeastUsed = 0.45;

    // What is blurred over more than this share of its radius is a spot of light.
    private const double MostBlurred = 0.6;

    /// <summary>Finds and measures the circles.</summary>
    /// <exception cref="InputException">A value out of range, a circle named that was not found.</exception>
    /// <exception cref="CannotMeasureException">No circle.</exception>
    [Measurement("reflections", "Reflections")]
    public static ReflectionsResult Measure(ReflectionsRequest request, RunContext context)
    {
        FieldRules.Require(request);
        Frame frame = request.Frame ?? throw new InputException("reflections.frame", "No photo was given. Give one of the reflections.", "frame");
        frame.RequireConsistent();
        if (request.SurfaceRadiusMm == 0)
        {
            throw new InputException("reflections.surface", "surface_radius is 0. Give the radius of curvature; for a flat one a large number.",
                "surface_radius");
        }

        context.Report(0.05, "finding edges");
        PhotoEdges edges = PhotoEdges.Of(frame, context);
        context.Report(0.3, "finding circles");
        List<(Outline Outline, bool BrightInside)> first = CircleSearch.Find(edges, Most, context.Cancel);
        context.Report(0.6, "following them");
        OutlineTrace[] traces = Follow(edges, first, context);
        if (traces.Length == 0)
        {
            throw new CannotMeasureException("reflections.no-circle",
                $"No circle was found in {frame.Name}. Light the plate, hold the camera close to the hole and straight, focus on the objective's edge, "
                    + "and let no circle touch the border of the photo.", frame.Name);
        }

        foreach ((int number, string name) in new[] { (request.Objective, "objective"), (request.Spot, "spot"), (request.Sight, "sight") })
        {
            if (number > traces.Length)
            {
                throw new InputException("reflections.role", $"{name} is circle {number}, but {traces.Length} were found in {frame.Name}. Leave it out, "
                    + "look at the numbers in the picture, and give it again.", name, frame.Name);
            }
        }

        var named = new[] { request.Objective, request.Spot, request.Sight }.Where(n => n > 0).ToArray();
        if (named.Distinct().Count() < named.Length)
        {
            throw new InputException("reflections.role-twice", "objective, spot and sight are different circles. Give each its own number.", "spot");
        }

        return Tell(request, edges, new CircleGeometry(request, edges, traces));
    }

    private static OutlineTrace[] Follow(PhotoEdges edges, List<(Outline Outline, bool BrightInside)> first, RunContext context)
    {
        var found = new OutlineTrace?[first.Count];
        Parallel.For(0, first.Count, context.Parallel, i =>
        {
            Outline own = first[i].Outline;
            double gap = first.Where((_, j) => j != i).Select(o => Math.Max(Math.Abs(own.R - o.Outline.R)
                - Math.Sqrt(Math.Pow(own.X - o.Outline.X, 2) + Math.Pow(own.Y - o.Outline.Y, 2)), 1)).DefaultIfEmpty(own.R).Min();
            found[i] = OutlineTrace.Follow(edges, own, first[i].BrightInside, gap * edges.Factor, context.Cancel);
        });
        var kept = new List<OutlineTrace>();
        foreach (OutlineTrace trace in found.OfType<OutlineTrace>()
            .Where(t => t.Covered >= LeastUsed * t.Inside && t.Width < MostBlurred * t.Outline.R).OrderByDescending(t => t.Outline.R))
        {
            // Two that ran into one edge are one.
            if (kept.All(k => k.BrightInside != trace.BrightInside || Math.Abs(k.Outline.R - trace.Outline.R) > 2
                || Math.Abs(k.Outline.X - trace.Outline.X) + Math.Abs(k.Outline.Y - trace.Outline.Y) > 2))
            {
                kept.Add(trace);
            }
        }

        return [.. kept];
    }

    private static ReflectionsResult Tell(ReflectionsRequest request, PhotoEdges edges, CircleGeometry geometry)
    {
        ReflectionCircle[] circles = [.. Enumerable.Range(0, geometry.Count).Select(geometry.Circle)];
        var pairs = new List<ReflectionPair>();
        for (int i = 0; i < circles.Length; i++)
        {
            for (int j = i + 1; j < circles.Length; j++)
            {
                if (geometry.Nested(i, j))
                {
                    pairs.Add(geometry.Pair(i, j));
                }
            }
        }

        ReflectionPair? spot = pairs.FirstOrDefault(p => p.Outer == request.Objective && p.Inner == request.Spot);
        (Measured X, Measured Y, Measured Size) objective = geometry.Tilt(false, true), aim = geometry.Tilt(true, false), axis = geometry.Tilt(true, true);
        List<Note> notes = new ReflectionsJudgment(request, edges, circles, pairs).Notes(double.IsFinite(objective.X.Value), double.IsFinite(aim.X.Value));
        string[] doubts = [.. notes.Where(n => n.Level == NoteLevel.Doubt).Select(n => n.Text)];
        var quantities = new List<Quantity>();
        if (spot is not null)
        {
            quantities.Add(ReflectionsQuantities.SpotOffset.Of(spot.Share, geometry.RandomShare(request.Objective - 1, request.Spot - 1)) with
            {
                Doubts = doubts,
                Counted = "photos",
            });
        }

        if (double.IsFinite(axis.Size.Value))
        {
            quantities.Add(ReflectionsQuantities.AxisTilt.Of(axis.Size) with { Doubts = doubts, Counted = "photos" });
        }

        return new ReflectionsResult
        {
            Circles = circles,
            Pairs = pairs,
            SpotOffset = spot?.Share ?? Measured.None(""),
            ObjectiveTilt = objective.Size,
            ObjectiveTiltX = objective.X,
            ObjectiveTiltY = objective.Y,
            FocuserAim = aim.Size,
            FocuserAimX = aim.X,
            FocuserAimY = aim.Y,
            AxisTilt = axis.Size,
            AxisTiltX = axis.X,
            AxisTiltY = axis.Y,
            Objective = request.Objective,
            Spot = request.Spot,
            Sight = request.Sight,
            Distortion = geometry.View.Distortion,
            Decided = doubts.Length == 0,
            Columns = edges.Frame.Width,
            Rows = edges.Frame.Height,
            Picture = Picture(edges),
            PictureCellPx = edges.Factor,
            Quantities = quantities,
            Notes = notes,
        };
    }

    private static double[,] Picture(PhotoEdges edges)
    {
        double[,] picture = new double[edges.Rows, edges.Columns];
        for (int p = 0; p < edges.Coarse.Length; p++)
        {
            picture[p / edges.Columns, p % edges.Columns] = edges.Coarse[p];
        }

        return picture;
    }
}
