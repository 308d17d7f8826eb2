using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.FocusSurface;

/// <summary>Best focus over the sensor from a focus run: tilt, curvature, what of the sensor is sharp at once.</summary>
public static class FocusSurfaceMeasurement
{
    // Relative standard uncertainty of a focuser's scale (common practice, no source).
    private const double PositionScale = 0.01;

    // What is known of the growth of blur when it is not believed to follow the focal ratio.
    private const double GrowthUnknown = 0.7;

    // A factor between a half and one and a half in the positions is what aberrations can feign at most; a run must reach far enough.
    private const double GrowthDoubt = 0.3;

    private const double OtherBlur = 0.6;

    // How well the growth of blur, which all frames and stars share, gives the scale of tilt and bowl beside the focuser's (drawn runs).
    private const double GrowthScale = 0.010;

    private const int Grid = 41;

    /// <summary>Measures the focus surface.</summary>
    /// <exception cref="InputException">Arrays of unequal length, too few positions, a value out of range.</exception>
    /// <exception cref="CannotMeasureException">Too few frames or stars in common.</exception>
    [Measurement("focus_surface", "Focus surface")]
    public static FocusSurfaceResult Measure(FocusSurfaceRequest request, RunContext context)
    {
        FieldRules.Require(request);
        Check(request);
        context.Report(0.05, "finding the same stars");
        RunStars run = RunStars.Of(request);
        double[] position = [.. request.PositionsUm];
        bool[] inward = Directions(position);
        var growth = new BlurGrowth(request.FocalRatio, request.Obstruction, request.WavelengthNm);
        context.Report(0.2, "fitting the surface");
        SurfaceFit fit = SurfaceFit.Of(run.Points, position, inward, growth, cancel: context.Cancel);
        SurfaceFit free = SurfaceFit.Of(run.Points, position, inward, growth, fit.P, GrowthUnknown, context.Cancel);
        int[] used = [.. run.Points.Select(p => p.Frame).Distinct().Order()];
        var without = new double[used.Length][];
        Parallel.For(0, used.Length, context.Parallel, k =>
        {
            RunPoint[] rest = [.. run.Points.Where(p => p.Frame != used[k])];
            without[k] = SurfaceFit.Of(rest, position, inward, growth, fit.P, cancel: context.Cancel).P;
            context.Report(0.9, "leaving out each frame in turn");
        });
        double depth = 2 * request.WavelengthNm / 1000 * request.FocalRatio * request.FocalRatio;
        ShapeFit? Shapes(RunPoint[] points, double[] p) => ShapeFit.Of(points, q => fit.Defocus(p, q), q => fit.InFocus(p, q), growth.Unit, depth);
        ShapeFit? whole = Shapes(run.Points, fit.P);
        SurfaceShift moves = whole is null ? SurfaceShift.None : SurfaceShift.Of(whole, run.Points, p => fit.InFocus(fit.P, p) / growth.Unit, depth);
        var shapes = new RunShapes(whole, [.. used.Select((f, k) => Shapes([.. run.Points.Where(p => p.Frame != f)], without[k]))], moves, depth);
        return Tell(request, run, fit, free, without, used, shapes);
    }

    private static FocusSurfaceResult Tell(FocusSurfaceRequest request, RunStars run, SurfaceFit fit, SurfaceFit free, double[][] without, int[] used,
        RunShapes shapes)
    {
        var area = new SensorArea(request.Width, request.Height);
        double half = area.HalfDiagonal, reachU = area.ReachU, reachV = area.ReachV;
        double reachMm = half * request.PitchUm / 1000, depth = shapes.DepthUm, shift = shapes.Shift.UsualUm;

        // Tilts and bowl are moved by what of it varies over the field, a position by all of it.
        SurfaceShift moves = shapes.Shift;

        // Leaving out a frame shows what frames differ by (seeing, the focuser's place); so few of them seem to agree by chance now and then, and
        // what is taken for known of the blur they all share: that is in the fit's own uncertainty.
        Measured Of(Func<double[], double> value, string unit, out double random)
        {
            random = Math.Sqrt(Math.Pow(RunShapes.ByFrames([.. without.Select(value)]), 2) + Math.Pow(fit.Noise(value), 2));
            double at = value(fit.P), moved = moves.In(value, fit.P), scale = Math.Sqrt((PositionScale * PositionScale) + (GrowthScale * GrowthScale));
            return new Measured(at, Math.Sqrt((random * random) + Math.Pow(scale * at, 2) + (moved * moved)), unit);
        }

        double Width(double[] p) => 2 * reachU * p[1];
        double Height(double[] p) => 2 * reachV * p[2];
        double Corners(double[] p) => Math.Abs(Width(p)) + Math.Abs(Height(p));
        double Angle(double[] p) => Math.Atan(Math.Sqrt((p[1] * p[1]) + (p[2] * p[2])) / 1000 / reachMm) * 180 / Math.PI * 60;
        double Spread(double[] p) => Extent(p, reachU, reachV);
        // A position has no scale.
        Measured focus = Of(p => p[0], "um", out double focusRandom);
        focus = focus with { Uncertainty = Math.Sqrt((focusRandom * focusRandom) + Math.Pow(Math.Max(shift, moves.In(p => p[0], fit.P)), 2)) };
        Measured across = Of(Width, "um", out double acrossRandom), up = Of(Height, "um", out double upRandom);
        Measured sag = Of(p => p[3], "um", out double sagRandom);
        // So few frames do not tell how the errors of both parts hang together: where they seem to cancel, they are taken as independent.
        Measured tilt = Of(Corners, "um", out double tiltRandom);
        double apart = Math.Sqrt((acrossRandom * acrossRandom) + (upRandom * upRandom));
        tilt = tilt with { Uncertainty = Math.Sqrt((tilt.Uncertainty * tilt.Uncertainty) + Math.Max(0, (apart * apart) - (tiltRandom * tiltRandom))) };
        tiltRandom = Math.Max(tiltRandom, apart);
        Measured spread = Of(Spread, "um", out double spreadRandom);
        Measured angle = Of(Angle, "arcmin", out _);
        Measured split = shapes.CornerSplit(out double splitRandom);
        Measured inMiddle = shapes.MiddleSplit(out double direction);
        double radius = reachMm * reachMm * 1000 / (2 * sag.Value);
        bool bent = Math.Abs(sag.Value) > 2 * sag.Uncertainty;
        Measured backlash = fit.HasBacklash ? Of(p => p[SurfaceFit.Surface], "um", out _) : Measured.None("um");

        int stars = run.X.Length;
        double[] own = new double[stars], ownBar = new double[stars], surface = new double[stars];
        int[][] of = [.. Enumerable.Range(0, run.Points.Length).GroupBy(i => run.Points[i].Star).OrderBy(g => g.Key).Select(g => g.ToArray())];
        for (int s = 0; s < stars; s++)
        {
            (own[s], ownBar[s]) = fit.Own(of[s]);
            RunPoint middle = run.Points[of[s][of[s].Length / 2]];
            surface[s] = SurfaceFit.At(fit.P, middle.U, middle.V);
        }

        (double share, double best) = Sharp(fit.P, reachU, reachV, depth);
        (double level, _) = Sharp([fit.P[0], 0, 0, fit.P[3]], reachU, reachV, depth);
        List<Note> notes = Notes(request, run, fit, free, used, depth, own, ownBar, surface, reachU, reachV, backlash);
        if (shift > 0.1 * depth)
        {
            notes.Add(FocusSurfaceNotes.Aberrations.Say($"The stars' shapes show coma and astigmatism together, which move the place where stars are " +
                $"smallest by some {shift:0.#} um; the uncertainties hold that. A defocused pair (wavefront over the field) tells focus and both apart."));
        }

        string[] doubts = [.. notes.Where(n => n.Level == NoteLevel.Doubt).Select(n => n.Text)];
        Quantity Claimed(QuantityDefinition kind, Measured value, double random) =>
            kind.Of(value, random) with { Count = used.Length, DegreesOfFreedom = used.Length - 1, Doubts = doubts };
        return new FocusSurfaceResult
        {
            BestFocus = focus,
            TiltAcrossWidth = across,
            TiltAcrossHeight = up,
            SensorTilt = tilt,
            TiltAngle = angle,
            TiltDirectionDeg = Math.Atan2(fit.P[2], fit.P[1]) * 180 / Math.PI,
            CurvatureSag = sag,
            CurvatureRadius = new Measured(radius, bent ? Math.Abs(radius * sag.Uncertainty / sag.Value) : double.NaN, "mm"),
            FocusSpread = spread,
            DepthOfFocusUm = depth,
            InFocusShare = share,
            InFocusShareLevel = level,
            BestPositionUm = best,
            Backlash = backlash,
            AstigmaticSplit = split,
            MiddleSplit = inMiddle,
            MiddleSplitDirectionDeg = direction,
            AberrationShiftUm = shift,
            BlurGrowth = Math.Sqrt(free.Far),
            PositionsUm = [.. request.PositionsUm],
            FrameHfrUm = [.. Enumerable.Range(0, request.Stars.Count).Select(run.Median)],
            FrameModelUm = [.. Enumerable.Range(0, request.Stars.Count).Select(f =>
                Robust.Median(run.Points.Where(p => p.Frame == f).Select(p => Math.Sqrt(Math.Max(0, fit.Model(p))))))],
            FrameStars = [.. Enumerable.Range(0, request.Stars.Count).Select(f => run.Points.Count(p => p.Frame == f))],
            X = run.X,
            Y = run.Y,
            StarFocusUm = own,
            StarFocusUncertaintyUm = ownBar,
            SurfaceUm = surface,
            Coefficients = fit.P[..SurfaceFit.Surface],
            Width = request.Width,
            Height = request.Height,
            PitchUm = request.PitchUm,
            Quantities =
            [
                Claimed(FocusSurfaceQuantities.SensorTilt, tilt, tiltRandom),
                Claimed(FocusSurfaceQuantities.CurvatureSag, sag, sagRandom),
                Claimed(FocusSurfaceQuantities.FocusSpread, spread, spreadRandom),
                Claimed(FocusSurfaceQuantities.AstigmaticSplit, split, splitRandom),
            ],
            Notes = notes,
        };
    }

    private static List<Note> Notes(FocusSurfaceRequest request, RunStars run, SurfaceFit fit, SurfaceFit free, int[] used, double depth,
        double[] own, double[] ownBar, double[] surface, double reachU, double reachV, Measured backlash)
    {
        string Name(int f) => f < request.Names.Count && request.Names[f].Length > 0 ? request.Names[f] : $"frame {f + 1}";
        double low = used.Min(f => request.PositionsUm[f]), high = used.Max(f => request.PositionsUm[f]);
        var notes = new List<Note>
        {
            FocusSurfaceNotes.Method.Say($"{run.X.Length} stars in {used.Length} frames. The uncertainties are what leaving out each frame in turn " +
                "changes, the stars' scatter, and 1.4 % for the scales of focuser and blur. The surface is the mean of tangential and sagittal focus; what " +
                $"parts them is told by the stars' shapes, to {100 * ShapeFit.ResponseScatter:0} % at best. A tilt of the sensor and a bowl beside its " +
                "middle look alike."),
        };
        for (int f = 0; f < request.Stars.Count; f++)
        {
            if (!run.Placed[f])
            {
                notes.Add(FocusSurfaceNotes.FrameLeftOut.Say(run.Reason(f)));
            }
            else if (Math.Abs(fit.FrameBlur(f)) > OtherBlur)
            {
                notes.Add(FocusSurfaceNotes.OtherBlur.Say($"{Name(f)} has {Math.Exp(fit.FrameBlur(f) / 2):0.0} times the blur of the others beside defocus: " +
                    "seeing, wind or tracking."));
            }
        }

        double middle = fit.P[0];
        if (middle < low || middle > high)
        {
            notes.Add(FocusSurfaceNotes.OneSided.Say($"The best focus in the middle of the sensor, {middle:0} um, lies outside the run of {low:0} to " +
                $"{high:0} um. Take frames on both sides of it."));
        }
        else
        {
            (double least, double most) = Extremes(fit.P, reachU, reachV);
            if (least < low || most > high)
            {
                notes.Add(FocusSurfaceNotes.RunTooShort.Say($"Best focus reaches from {least:0} to {most:0} um over the sensor, the run from {low:0} to " +
                    $"{high:0} um only; what lies outside is extrapolated. Take a longer run."));
            }
        }

        // Steps of a size that is not the stated one, or another focal ratio, make discs grow faster or slower.
        double factor = Math.Sqrt(free.Far);
        if (Math.Abs(Math.Log(factor)) > GrowthDoubt)
        {
            notes.Add(FocusSurfaceNotes.BlurGrowth.Say($"Stars grow with the focuser as if its positions were {factor:0.00} times as far apart as stated, " +
                $"or the focal ratio {request.FocalRatio / factor:0.0} instead of {request.FocalRatio:0.0}. Check how far a step moves the sensor, and " +
                "aperture and focal length."));
        }

        if (run.X.Length < 30)
        {
            notes.Add(FocusSurfaceNotes.FewStars.Say($"Only {run.X.Length} stars carry the surface. A richer field or longer exposures make it surer."));
        }

        double reach = 1;
        foreach ((double a, double b) in new[] { (1.0, 1.0), (1, -1), (-1, 1), (-1, -1) })
        {
            reach = Math.Min(reach, run.Points.Where(p => p.U * a > 0 && p.V * b > 0).Select(p => Math.Sqrt((p.U * p.U) + (p.V * p.V))).DefaultIfEmpty(0)
                .Max());
        }

        if (reach < 0.6)
        {
            notes.Add(FocusSurfaceNotes.CornersEmpty.Say($"In one quarter of the sensor no star stands farther out than {100 * reach:0} % of the way to the " +
                "corner; the surface beyond is extrapolated."));
        }

        double[] off = [.. Enumerable.Range(0, own.Length).Where(s => double.IsFinite(own[s])).Select(s => Math.Abs(own[s] - surface[s]))];
        double[] bars = [.. Enumerable.Range(0, own.Length).Where(s => double.IsFinite(own[s])).Select(s => ownBar[s])];
        double scatter = 1.4826 * Robust.Median(off), usual = Robust.Median(bars);
        if (scatter > 2.5 * usual && scatter > 0.3 * depth)
        {
            notes.Add(FocusSurfaceNotes.NotSmooth.Say($"The stars' own best focus scatters by {scatter:0} um about the surface where {usual:0} um are " +
                "expected: the field bends otherwise than a tilted bowl, or something moved during the run."));
        }

        if (double.IsFinite(backlash.Value) && Math.Abs(backlash.Value) > 3 * backlash.Uncertainty && Math.Abs(backlash.Value) > 0.25 * depth)
        {
            notes.Add(FocusSurfaceNotes.Backlash.Say($"Coming from outside the sensor stands {Math.Abs(backlash.Value):0} um " +
                $"{(backlash.Value > 0 ? "farther out" : "farther in")} than the same position says coming from inside. Approach focus always from one side."));
        }

        return notes;
    }

    private static (double Least, double Most) Extremes(double[] p, double reachU, double reachV)
    {
        (double least, double most) = (double.PositiveInfinity, double.NegativeInfinity);
        foreach (double z in Everywhere(p, reachU, reachV))
        {
            (least, most) = (Math.Min(least, z), Math.Max(most, z));
        }

        return (least, most);
    }

    private static double Extent(double[] p, double reachU, double reachV)
    {
        (double least, double most) = Extremes(p, reachU, reachV);
        return most - least;
    }

    private static IEnumerable<double> Everywhere(double[] p, double reachU, double reachV)
    {
        for (int j = 0; j < Grid; j++)
        {
            for (int i = 0; i < Grid; i++)
            {
                yield return SurfaceFit.At(p, reachU * ((2.0 * i / (Grid - 1)) - 1), reachV * ((2.0 * j / (Grid - 1)) - 1));
            }
        }
    }

    /// <summary>Largest share of the sensor within the depth of focus of one position, and that position.</summary>
    private static (double Share, double Position) Sharp(double[] p, double reachU, double reachV, double depth)
    {
        double[] z = [.. Everywhere(p, reachU, reachV).Order()];
        (int most, double best) = (0, z[0]);
        int last = 0;
        for (int first = 0; first < z.Length; first++)
        {
            while (last < z.Length && z[last] - z[first] <= 2 * depth)
            {
                last++;
            }

            if (last - first > most)
            {
                (most, best) = (last - first, (z[first] + z[last - 1]) / 2);
            }
        }

        return ((double)most / z.Length, best);
    }

    /// <summary>Whether the focuser came to each frame from farther outside; the first frame goes with the second.</summary>
    private static bool[] Directions(double[] position)
    {
        var inward = new bool[position.Length];
        for (int f = 1; f < position.Length; f++)
        {
            inward[f] = position[f] < position[f - 1] || (position[f] == position[f - 1] && inward[f - 1]);
        }

        inward[0] = inward[1];
        return inward;
    }

    private static void Check(FocusSurfaceRequest request)
    {
        int frames = request.Stars.Count, stars = request.Stars.Sum();
        if (request.PositionsUm.Count != frames)
        {
            throw new InputException("focus-surface.positions",
                $"{frames} frames need {frames} sensor positions, {request.PositionsUm.Count} are given. Write one for each, growing away from the objective.",
                    "positions");
        }

        if (frames < RunStars.LeastFrames)
        {
            throw new CannotMeasureException("focus-surface.too-few-frames",
                $"{frames} frames; a focus run needs {RunStars.LeastFrames} or more, on both sides of focus.");
        }

        if (new[] { request.X.Length, request.Y.Length, request.Flux.Length, request.Hfr.Length, request.HfrUncertainty.Length,
            request.Ellipticity.Length, request.EllipticityUncertainty.Length, request.PositionAngleDeg.Length, request.Flags.Length }.Any(n => n != stars))
        {
            throw new InputException("focus-surface.lengths", $"{stars} stars are announced, but the arrays differ from that in length. Give one value of " +
                "each for every star.", "x");
        }

        if (request.PositionsUm.Any(p => !double.IsFinite(p)) || request.PositionsUm.Distinct().Count() < RunStars.LeastFrames - 1)
        {
            throw new InputException("focus-surface.positions",
                $"The frames stand at {request.PositionsUm.Distinct().Count()} different positions; a focus run needs {RunStars.LeastFrames - 1} or more.",
                    "positions");
        }
    }
}
