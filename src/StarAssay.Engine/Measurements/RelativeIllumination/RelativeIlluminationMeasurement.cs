using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.RelativeIllumination;

/// <summary>Evenness of light over the sensor from flats: what clips, where, and how far the image circle reaches.</summary>
public static class RelativeIlluminationMeasurement
{
    // How even a flat panel or a twilight sky is beside its slope, a share (common practice, no source).
    private const double SourceUneven = 0.003;

    // Even stray light, as a share of the light on the axis, which the level without light leaves unknown (common practice, no source).
    private const double Stray = 0.001;

    // A corner may depart so far from one stop's light before it decides nothing (common practice, no source).
    private const double CornerLimit = 0.02;

    // A fit must leave so much less to be preferred (a judgment, no source).
    private const double ClearlyLess = 0.8;

    private const int ProfilePoints = 49;

    /// <summary>Measures the illumination.</summary>
    /// <exception cref="InputException">No flat, flats of different size, a value out of range.</exception>
    /// <exception cref="CannotMeasureException">A flat is clipped or holds no light.</exception>
    [Measurement("relative_illumination", "Relative illumination")]
    public static RelativeIlluminationResult Measure(RelativeIlluminationRequest request, RunContext context)
    {
        FieldRules.Require(request);
        Check(request);
        double bias = double.IsNaN(request.BiasLevelAdu) ? 0 : request.BiasLevelAdu;
        context.Report(0.05, "reading the flats");
        FlatCells cells = FlatCells.Of(request.Frames, bias, context);
        context.Report(0.4, "fitting what clips");
        StopModel model = StopModel.Fit(cells, request, context.Cancel);
        context.Report(0.6, "looking for shadows of dust");
        (model, int leftOut) = WithoutDust(request, cells, model, bias, context);
        DustRing[] dust = [];
        if (request.Dust)
        {
            // Of every size, against what is smooth by the fit that counts.
            context.Report(0.8, "measuring shadows of dust");
            List<DustShape> found = DustSearch.Find(EvenedFlat.Of(request.Frames, bias, model.Smooth(request), context), request.Obstruction, 0, context);
            dust = [.. found.Select(shape => DustRing.Of(request, shape)).OrderBy(ring => ring.Distance.Value)];
        }

        return Tell(request, cells, model, leftOut, dust);
    }

    /// <summary>A relative illumination with what stray light leaves unknown.</summary>
    /// <remarks>A share s all over the frame makes (r + s) / (1 + s) of r: off by s (1 - r). Without it a black corner would be known beyond doubt.</remarks>
    private static Measured WithStray(Measured corner)
    {
        double stray = Stray * (1 - corner.Value);
        return corner with { Uncertainty = Math.Sqrt((corner.Uncertainty * corner.Uncertainty) + (stray * stray)) };
    }

    /// <summary>The fit without the cells that wide shadows of dust reach, and how many those are.</summary>
    /// <remarks>Wide shadows can pass for a stop, and a fit bent by them for what surrounds them. So they are looked for again with what the first ones
    /// left, and beside that as if nothing clipped; the fit that leaves least counts.</remarks>
    private static (StopModel Model, int LeftOut) WithoutDust(RelativeIlluminationRequest request, FlatCells cells, StopModel model, double bias,
        RunContext context)
    {
        (StopModel Model, int LeftOut) Pass(StopModel with)
        {
            List<DustShape> found = DustSearch.Find(
                EvenedFlat.Of(request.Frames, bias, with.Smooth(request), context), request.Obstruction, cells.LeastShadow, context);
            FlatCells left = cells.Without(found);
            return ReferenceEquals(left, cells) ? (model, 0) : (StopModel.Fit(left, request, context.Cancel, near: with), cells.Known - left.Known);
        }

        if (!model.LeavesSomething)
        {
            return (model, 0);
        }

        (StopModel Model, int LeftOut) best = Pass(model);
        if (best.LeftOut > 0 && best.Model.LeavesSomething)
        {
            best = Pass(best.Model);
        }

        if (model.HasStop && best.Model.LeavesSomething)
        {
            (StopModel Model, int LeftOut) bare = Pass(StopModel.Fit(cells, request, context.Cancel, stop: false));
            if (bare.LeftOut > 0 && bare.Model.Rms < ClearlyLess * best.Model.Rms)
            {
                best = Pass(bare.Model);
            }
        }

        return best;
    }

    private static RelativeIlluminationResult Tell(RelativeIlluminationRequest request, FlatCells cells, StopModel model, int leftOut, DustRing[] dust)
    {
        int width = request.Frames[0].Width, height = request.Frames[0].Height;
        double mm = request.PitchUm / 1000, right = (width - 1) / 2.0 * mm, top = (height - 1) / 2.0 * mm;
        Measured Of(Func<double[], double> function, string unit, out double random, double common = 0)
        {
            (double value, random) = model.Of(function);
            return new Measured(value, Math.Sqrt((random * random) + Math.Pow(common * value, 2)), unit);
        }

        double Distance(double[] p, double x, double y) => Math.Sqrt(Math.Pow(x - p[1], 2) + Math.Pow(y - p[2], 2));
        (double X, double Y)[] places = [(-right, -top), (right, -top), (-right, top), (right, top)];
        double[] cornerRandom = new double[4];
        Measured[] corners = [.. places.Select((c, k) => Of(p => model.At(p, Distance(p, c.X, c.Y)), string.Empty, out cornerRandom[k], SourceUneven))
            .Select(WithStray)];
        int darkest = Enumerable.Range(0, 4).MinBy(k => corners[k].Value);

        // The pitch of the pixels gives lengths their scale, the focal ratio the stop's distance; both are taken as stated.
        Measured Circle(double share, out double random) => model.HasStop ? Of(p => model.Circle(p, share), "mm", out random, 1e-3) : None(out random);
        Measured None(out double random)
        {
            random = double.NaN;
            return Measured.None("mm");
        }

        Measured c90 = Circle(0.9, out double random90), c75 = Circle(0.75, out _), c50 = Circle(0.5, out double random50);
        Measured clear = model.HasStop ? Of(p => 2 * p[5], "mm", out _, 1e-3) : Measured.None("mm");
        Measured away = model.HasStop ? Of(p => 2 * p[6] * request.FocalRatio, "mm", out _, 1e-3) : Measured.None("mm");
        Measured full = model.HasStop
            ? Of(p => Math.Max(0, 2 * (p[5] - p[6]) / (1 - (2 * p[6] * request.FocalRatio / request.FocalLengthMm))), "mm", out _, 1e-3) : Measured.None("mm");
        Measured centerX = model.HasStop ? Of(p => p[1], "mm", out _) : Measured.None("mm"),
            centerY = model.HasStop ? Of(p => p[2], "mm", out _) : Measured.None("mm");
        Measured slopeX = Of(p => p[3], string.Empty, out _), slopeY = Of(p => p[4], string.Empty, out _);

        double reach = Math.Sqrt((right * right) + (top * top)), level = Math.Exp(model.P[0]);
        double[] radius = [.. Enumerable.Range(0, ProfilePoints).Select(k => reach * k / (ProfilePoints - 1))];
        double[,] shown = new double[cells.Rows, cells.Columns];
        var around = new List<double>[ProfilePoints];
        for (int k = 0; k < ProfilePoints; k++)
        {
            around[k] = [];
        }

        for (int j = 0; j < cells.Rows; j++)
        {
            for (int i = 0; i < cells.Columns; i++)
            {
                double x = ((i * cells.Side) + ((cells.Side - 1) / 2.0) - ((width - 1) / 2.0)) * mm;
                double y = ((j * cells.Side) + ((cells.Side - 1) / 2.0) - ((height - 1) / 2.0)) * mm;
                shown[j, i] = cells.Level[j, i] / level / (1 + model.Slope(model.P, x, y));
                int at = (int)Math.Round(Distance(model.P, x, y) / reach * (ProfilePoints - 1));
                if (at < ProfilePoints && double.IsFinite(shown[j, i]))
                {
                    around[at].Add(shown[j, i]);
                }
            }
        }

        List<Note> notes = Notes(request, model, clear, away, full, c50, centerX, centerY, slopeX, slopeY, reach);
        if (leftOut > 0)
        {
            notes.Add(RelativeIlluminationNotes.Dust.Say($"Wide shadows of dust: {leftOut} cells that they reach took no part in the fit. Clean the glass " +
                "before the sensor as its maker says, or read the corners of the map with that in mind."));
        }

        if (dust.Length > 0)
        {
            string many = dust.Length == 1 ? "shadow" : "shadows";
            notes.Add(RelativeIlluminationNotes.DustRings.Say($"{dust.Length} {many} of dust: the distance of a grain is its shadow's diameter times the " +
                "focal ratio, in air; glass between it and the sensor makes it longer by about a third of the glass's thickness."));
        }

        string[] doubts = [.. notes.Where(n => n.Level == NoteLevel.Doubt).Select(n => n.Text)];
        var quantities = new List<Quantity>();
        void Claim(QuantityDefinition kind, Measured value, double random)
        {
            if (double.IsFinite(value.Value))
            {
                quantities.Add(kind.Of(value, random) with { Count = request.Frames.Count, Doubts = doubts });
            }
        }

        Claim(RelativeIlluminationQuantities.Corner, corners[darkest], cornerRandom[darkest]);
        Claim(RelativeIlluminationQuantities.Circle90, c90, random90);
        Claim(RelativeIlluminationQuantities.Circle50, c50, random50);
        double tangent = reach / request.FocalLengthMm;
        return new RelativeIlluminationResult
        {
            CornerIllumination = corners[darkest],
            Corners = corners,
            ImageCircle90 = c90,
            ImageCircle75 = c75,
            ImageCircle50 = c50,
            FullyLit = full,
            ClearDiameter = clear,
            StopDistance = away,
            CenterX = centerX,
            CenterY = centerY,
            SlopeX = slopeX,
            SlopeY = slopeY,
            NaturalCorner = 1 / Math.Pow(1 + (tangent * tangent), 2),
            ResidualRms = model.Rms,
            Level = level,
            RadiusMm = radius,
            Profile = [.. radius.Select(r => model.At(model.P, r))],
            MeasuredProfile = [.. around.Select(a => a.Count > 0 ? Robust.Median(a) : double.NaN)],
            Cells = shown,
            Dust = dust,
            CellPx = cells.Side,
            Width = width,
            Height = height,
            PitchUm = request.PitchUm,
            Quantities = quantities,
            Notes = notes,
        };
    }

    private static List<Note> Notes(RelativeIlluminationRequest request, StopModel model, Measured clear, Measured away, Measured full, Measured half,
        Measured centerX, Measured centerY, Measured slopeX, Measured slopeY, double reach)
    {
        string flats = request.Frames.Count == 1 ? "the flat" : $"{request.Frames.Count} flats";
        var notes = new List<Note>
        {
            RelativeIlluminationNotes.Method.Say($"Means over cells of {flats}, stars and hot pixels left out, fitted by the overlap of the cone of light " +
                "with one round stop. The uncertainties are what leaving out each twelfth of the field in turn changes, or the cells' scatter, and 0.3 % for " +
                "an uneven light source."),
        };
        if (double.IsNaN(request.BiasLevelAdu))
        {
            notes.Add(RelativeIlluminationNotes.NoBias.Say("The level without light is not known and was not taken off, so that the field looks more even " +
                "than it is. Give bias (a bias or dark frame) or bias_level."));
        }

        if (!model.HasStop)
        {
            notes.Add(RelativeIlluminationNotes.NoClipping.Say($"No stop that cuts the cone of light is seen within {reach:0.0} mm of the middle."));
        }
        else
        {
            double off = Math.Sqrt((centerX.Value * centerX.Value) + (centerY.Value * centerY.Value)), bar = Math.Max(centerX.Uncertainty, centerY.Uncertainty);
            if (off > 3 * bar && off > 0.03 * reach)
            {
                notes.Add(RelativeIlluminationNotes.Beside.Say($"The lit circle is centered {off:0.0} mm beside the middle of the sensor " +
                    $"({centerX.Value:+0.0;-0.0} mm to the right, {centerY.Value:+0.0;-0.0} mm up): adapter, focuser or sensor sit off the axis."));
            }

            if (half.Value / 2 > reach)
            {
                notes.Add(RelativeIlluminationNotes.Extrapolated.Say($"The circle with half of the light, {half.Value:0} mm, lies beyond the frame's " +
                    $"corners at {2 * reach:0} mm and rests on the overlap of two circles."));
            }

            if (away.Uncertainty > 0.3 * away.Value)
            {
                notes.Add(RelativeIlluminationNotes.DistanceUnsure.Say($"How far the stop stands before the sensor is hardly seen ({away.Value:0} +- " +
                    $"{away.Uncertainty:0} mm); its clear diameter is surer than that."));
            }
        }

        double corner = model.CornerDeparture();
        if (Math.Abs(corner) > CornerLimit)
        {
            notes.Add(RelativeIlluminationNotes.CornerDeparts.Say($"A corner gets {100 * Math.Abs(corner):0.0} % of the light on the axis " +
                $"{(corner > 0 ? "more" : "less")} than the fit says: something else clips there. Look at the map."));
        }

        if (model.Usual > 0.01)
        {
            notes.Add(RelativeIlluminationNotes.NotTwoCircles.Say($"Cells depart from the fit by {100 * model.Usual:0.0} %: a second stop, a mirror's " +
                "shadow, dust, or light that comes from elsewhere."));
        }

        double slope = Math.Sqrt((slopeX.Value * slopeX.Value) + (slopeY.Value * slopeY.Value));
        if (slope > 0.02 && slope > 4 * Math.Max(slopeX.Uncertainty, slopeY.Uncertainty))
        {
            notes.Add(RelativeIlluminationNotes.Slope.Say($"The light falls by {100 * slope:0.0} % across the frame beside what the stop makes of it. It " +
                "was taken for the light source's; two flats with the camera turned by half a turn between them tell."));
        }

        return notes;
    }

    private static void Check(RelativeIlluminationRequest request)
    {
        if (request.Frames.Count == 0)
        {
            throw new InputException("relative-illumination.no-frame", "No flat was given. Hand one over.", "frames");
        }

        Frame first = request.Frames[0];
        foreach (Frame frame in request.Frames)
        {
            frame.RequireConsistent();
            if (frame.Width != first.Width || frame.Height != first.Height)
            {
                throw new InputException("relative-illumination.sizes", $"{frame.Name} has {frame.Width} x {frame.Height} pixels, {first.Name} " +
                    $"{first.Width} x {first.Height}. Give flats of one setup.", "frames", frame.Name);
            }
        }

        if (first.Width < 128 || first.Height < 96)
        {
            throw new InputException("relative-illumination.too-small",
                $"{first.Name} is {first.Width} x {first.Height} pixels; a flat needs at least 128 x 96.", "frames", first.Name);
        }

        if (request.Turned && request.Frames.Count % 2 != 0)
        {
            throw new InputException("relative-illumination.turned", $"{request.Frames.Count} flats cannot be pairs with the camera turned between them. " +
                "Give as many turned as not.", "turned");
        }
    }
}
