using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.LateralColor;

/// <summary>Lateral color from star centers in two or more colors.</summary>
public static class LateralColorMeasurement
{
    /// <summary>Fewer stars do not tell a scale from a shift.</summary>
    public const int LeastStars = 6;

    // Relative standard uncertainties of pitch and focal length (common practice, no source).
    private const double PitchScale = 1e-3, FocalScale = 0.01;

    // How well the middle of a passband is known for stars of all colors, nm (common practice, no source).
    private const double WavelengthUnknown = 15;

    private const int CurvePoints = 41;
    private const StarMarks Unfit = StarMarks.Saturated | StarMarks.Edge | StarMarks.Blended | StarMarks.CosmicRay | StarMarks.NotAStar;

    /// <summary>Measures lateral color.</summary>
    /// <exception cref="InputException">Arrays of unequal length, fewer than two colors, a value out of range.</exception>
    /// <exception cref="CannotMeasureException">Too few stars in common.</exception>
    [Measurement("lateral_color", "Lateral color")]
    public static LateralColorResult Measure(LateralColorRequest request, RunContext context)
    {
        FieldRules.Require(request);
        Check(request);
        context.Report(0.2, "finding the same stars");
        ColorFields fields = ColorFields.Of(request, Unfit);
        context.Report(0.6, "fitting the offsets");
        var notes = new List<Note>();
        var models = new List<Compared>();
        int[] others = [.. Enumerable.Range(0, request.Stars.Count).Where(c => c != request.Reference)];
        foreach ((int color, int against) in others.Select(c => (c, request.Reference)).Concat(
            others.SelectMany((c, k) => others[(k + 1)..].Select(d => (d, c)))))
        {
            (StarOffset[] stars, double[] moved) = fields.Offsets(color, against);
            double half = new SensorArea(request.Width, request.Height).HalfDiagonal;
            OffsetModel? model = stars.Length < LeastStars ? null : OffsetModel.Fit(stars, !request.OneExposure, (moved[0] / half, moved[1] / half));
            if (model is not null && model.Used.Count(u => u) >= LeastStars)
            {
                models.Add(new Compared(color, against, stars, model, moved));
            }
            else if (against == request.Reference)
            {
                notes.Add(LateralColorNotes.ColorLeftOut.Say(
                    $"Only {stars.Length} stars of {request.Colors[color]} serve that are also in {request.Colors[against]}; {LeastStars} are "
                    + "needed. Expose longer, or take a richer field."));
            }
        }

        if (models.Count == 0)
        {
            throw new CannotMeasureException("lateral-color.too-few-stars",
                $"Fewer than {LeastStars} stars are whole, alone and unclipped in two colors. Expose longer, or take a richer field.");
        }

        return Tell(request, fields, models, notes);
    }

    private static LateralColorResult Tell(LateralColorRequest request, ColorFields fields,
        List<Compared> models, List<Note> notes)
    {
        double half = new SensorArea(request.Width, request.Height).HalfDiagonal, pitch = request.PitchUm;
        ColorPair[] pairs = [.. models.Select(m => Pair(request, m.Color, m.Against, m.Model, m.Moved))];

        // The largest that is told from nothing; where none is, the largest against the reference: noise is larger between two others.
        int[] told = [.. Enumerable.Range(0, pairs.Length).Where(k => Math.Abs(pairs[k].Corner.Value) > 2 * pairs[k].Corner.Uncertainty)];
        bool referred = models.Any(m => m.Against == request.Reference);
        int[] of = told.Length > 0 ? told
            : [.. Enumerable.Range(0, pairs.Length).Where(k => !referred || models[k].Against == request.Reference)];
        int worst = of.MaxBy(k => Math.Abs(pairs[k].Corner.Value));
        Measured corner = pairs[worst].Corner with { Value = Math.Abs(pairs[worst].Corner.Value) };
        double random = pairs[worst].CornerInPixels.Uncertainty * pitch;
        double perUm = Seeing.ArcsecPerRadian / (request.FocalLengthMm * 1000);
        Measured angle = double.IsNaN(perUm) ? Measured.None("arcsec")
            : new Measured(corner.Value * perUm, Math.Sqrt(Math.Pow(corner.Uncertainty * perUm, 2) + Math.Pow(FocalScale * corner.Value * perUm, 2)), "arcsec");
        double middle = Wavelength(request, request.Reference);
        double[] radius = [.. Enumerable.Range(0, CurvePoints).Select(k => (double)k / (CurvePoints - 1))];
        double[,] curve = new double[pairs.Length, CurvePoints], bars = new double[pairs.Length, CurvePoints];
        for (int p = 0; p < pairs.Length; p++)
        {
            for (int k = 0; k < CurvePoints; k++)
            {
                (double value, double sigma) = models[p].Model.Radial(radius[k]);
                (curve[p, k], bars[p, k]) = (value * pitch, sigma * pitch);
            }
        }

        Say(request, models, pairs, notes);
        string[] doubts = [.. notes.Where(n => n.Level == NoteLevel.Doubt).Select(n => n.Text)];
        Quantity Claimed(QuantityDefinition kind, Measured value, double part) =>
            kind.Of(value, part) with { DegreesOfFreedom = models[worst].Model.Freedom, Doubts = doubts };
        var quantities = new List<Quantity> { Claimed(LateralColorQuantities.Corner, corner, random) };
        if (double.IsFinite(angle.Value))
        {
            quantities.Add(Claimed(LateralColorQuantities.Angle, angle, random * perUm));
        }

        var all = models.SelectMany((m, p) => m.Stars.Select((s, i) =>
            (Pair: p, Star: s, Bare: m.Model.Bare(i), Bar: m.Model.Uncertainty(i), Used: m.Model.Used[i]))).ToList();
        return new LateralColorResult
        {
            LateralColor = corner,
            LateralColorAngle = angle,
            AiryShare = corner.Value / (2.44 * middle / 1000 * request.FocalRatio),
            WorstPair = $"{pairs[worst].Color} against {pairs[worst].Against}",
            Pairs = pairs,
            Colors = [.. request.Colors.Select((name, c) => new ColorStars(name, Wavelength(request, c), fields.Count(c), fields.MedianHfr(c)))],
            Radius = [.. radius.Select(r => r * half * pitch / 1000)],
            Curve = curve,
            CurveUncertainty = bars,
            Pair = [.. all.Select(a => a.Pair)],
            X = [.. all.Select(a => a.Star.X)],
            Y = [.. all.Select(a => a.Star.Y)],
            OffsetX = [.. all.Select(a => a.Bare.X)],
            OffsetY = [.. all.Select(a => a.Bare.Y)],
            OffsetUncertainty = [.. all.Select(a => a.Bar)],
            Used = [.. all.Select(a => a.Used ? 1 : 0)],
            Width = request.Width,
            Height = request.Height,
            PitchUm = pitch,
            Quantities = quantities,
            Notes = notes,
        };
    }

    private static ColorPair Pair(LateralColorRequest request, int color, int against, OffsetModel model, double[] moved)
    {
        double half = new SensorArea(request.Width, request.Height).HalfDiagonal, pitch = request.PitchUm;
        (double corner, double bar) = model.Radial(1);
        Measured Of(int k, double scale, string unit) => new(model.Values[k] * scale, model.Sigma((k, 1)) * scale, unit);
        Measured Third(int k) => model.HasThird ? Of(k, 1, "pix") : Measured.None("pix");
        double x = model.Values[OffsetModel.A], y = model.Values[OffsetModel.B];
        (Measured expected, Measured along, Measured across) = (Measured.None("pix"), Measured.None("pix"), Measured.None("pix"));
        if (Expected(request, color, against) is var (amount, unsure) && double.IsFinite(amount) && request.OneExposure)
        {
            expected = new Measured(amount, unsure, "pix");
            double turn = request.ZenithDirectionDeg * Math.PI / 180, cos = Math.Cos(turn), sin = Math.Sin(turn);
            if (double.IsFinite(turn))
            {
                double sigma = model.Sigma((OffsetModel.A, cos), (OffsetModel.B, sin));
                along = new Measured((x * cos) + (y * sin) - amount, Math.Sqrt((sigma * sigma) + (unsure * unsure)), "pix");
                across = new Measured((y * cos) - (x * sin), model.Sigma((OffsetModel.A, -sin), (OffsetModel.B, cos)), "pix");
            }
        }

        const double ToArcmin = 180 * 60 / Math.PI;
        return new ColorPair(
            request.Colors[color],
            request.Colors[against],
            model.Used.Count(u => u),
            new Measured(corner * pitch, Math.Sqrt(Math.Pow(bar * pitch, 2) + Math.Pow(PitchScale * corner * pitch, 2)), "um"),
            new Measured(corner, bar, "pix"),
            new Measured(model.Scale.Value * 1e6 / half, model.Scale.Sigma * 1e6 / half, string.Empty),
            Third(OffsetModel.T),
            Third(OffsetModel.P),
            Third(OffsetModel.Q),
            Of(OffsetModel.A, 1, "pix") with { Value = x + moved[0] },
            Of(OffsetModel.B, 1, "pix") with { Value = y + moved[1] },
            expected,
            along,
            across,
            Of(OffsetModel.W, ToArcmin / half, "arcmin") with { Value = (model.Values[OffsetModel.W] / half * ToArcmin) + (moved[2] * 60) },
            model.Added);
    }

    // What dispersion of the air makes of the offset, in pixels towards the zenith, and how unsure it is by the passbands.
    private static (double Amount, double Unsure) Expected(LateralColorRequest request, int color, int against)
    {
        double one = Wavelength(request, color), other = Wavelength(request, against);
        if (!double.IsFinite(one + other + request.AltitudeDeg + request.FocalLengthMm))
        {
            return (double.NaN, double.NaN);
        }

        double perPixel = request.PitchUm / 1000 / request.FocalLengthMm * Seeing.ArcsecPerRadian;
        double Lift(double a, double b) => Atmosphere.DifferentialRefractionArcsec(a, b, 90 - request.AltitudeDeg) / perPixel;
        double first = (Lift(one + WavelengthUnknown, other) - Lift(one - WavelengthUnknown, other)) / 2;
        double second = (Lift(one, other + WavelengthUnknown) - Lift(one, other - WavelengthUnknown)) / 2;
        return (Lift(one, other), Math.Sqrt((first * first) + (second * second)));
    }

    private static double Wavelength(LateralColorRequest request, int color) => color < request.WavelengthsNm.Count ? request.WavelengthsNm[color] : double.NaN;

    private static void Say(LateralColorRequest request, List<Compared> models, ColorPair[] pairs, List<Note> notes)
    {
        notes.Insert(0, LateralColorNotes.Method.Say(
            $"Star centers in {pairs.Select(p => p.Color).Concat(pairs.Select(p => p.Against)).Distinct().Count()} colors, matched star by star "
            + "and fitted by a constant, a turn, a radial part of first and third order and a decentered part. Scatter that the stars' own "
            + "uncertainties do not explain is added to them. Radial is from the middle of the sensor: an axis beside it adds to the constant."));
        int fewest = pairs.Min(p => p.Stars);
        if (fewest < OffsetModel.StarsForThird)
        {
            notes.Add(LateralColorNotes.FewStars.Say(
                $"Only {fewest} stars serve in a pair of colors; {OffsetModel.StarsForThird} are needed to see whether the offset grows evenly to "
                + "the corners. Take a richer field or longer exposures."));
        }

        double reach = models.Min(m => m.Stars.Where((_, i) => m.Model.Used[i]).Max(s => Math.Sqrt((s.U * s.U) + (s.V * s.V))));
        if (reach < 0.75)
        {
            notes.Add(LateralColorNotes.CornersEmpty.Say(
                $"No star stands farther out than {100 * reach:0} % of the way to the corner; lateral color beyond is extrapolated."));
        }

        if (request.OneExposure)
        {
            SayOfTheAir(request, pairs, notes);
            foreach (ColorPair pair in pairs)
            {
                double half = new SensorArea(request.Width, request.Height).HalfDiagonal, corner = pair.Rotation.Value / (180 * 60 / Math.PI) * half;
                if (Math.Abs(pair.Rotation.Value) > 5 * pair.Rotation.Uncertainty && Math.Abs(corner) > 0.05)
                {
                    notes.Add(LateralColorNotes.Turned.Say(
                        $"{pair.Color} is turned against {pair.Against} by {pair.Rotation.Value:0.00} arcmin, {Math.Abs(corner):0.00} pixels at "
                        + "the corner. Optics do not do that: are both of one exposure, and is the pattern of the mosaic right?"));
                }
            }
        }
        else
        {
            notes.Add(LateralColorNotes.Moved.Say(
                "The frames were taken one after the other: shift and turn are the mount's, and the decentered part is what a shift makes of "
                + "distortion. Scale holds what refocusing changes (focus shift over focal length) and refraction, up to 1e-4 between altitudes of "
                + "40 and 35 degrees."));
            double[] told = [.. request.Focus.Where(double.IsFinite)];
            if (told.Length > 1 && told.Max() - told.Min() > 1e-9 * Math.Max(1, Math.Abs(told.Max())))
            {
                notes.Add(LateralColorNotes.Refocused.Say(
                    $"The focuser stood at {told.Min():0.###} to {told.Max():0.###}: moving the sensor changes the scale as lateral color does. "
                    + "Take all filters without refocusing, or use a color camera."));
            }
        }

        foreach (ColorPair pair in pairs.Where(p => p.Scatter > 0.25))
        {
            notes.Add(LateralColorNotes.Scatter.Say(
                $"Between {pair.Color} and {pair.Against} the stars scatter by {pair.Scatter:0.00} pixels beyond their own uncertainties: pixels "
                + "too coarse for one color, air that moves, or neighbors."));
        }
    }

    private static void SayOfTheAir(LateralColorRequest request, ColorPair[] pairs, List<Note> notes)
    {
        // The pair with the largest expected offset tells most.
        ColorPair pair = pairs.OrderByDescending(p => double.IsNaN(p.ExpectedShift.Value) ? -1 : Math.Abs(p.ExpectedShift.Value)).First();
        double amount = Math.Sqrt((pair.ShiftX.Value * pair.ShiftX.Value) + (pair.ShiftY.Value * pair.ShiftY.Value));
        double bar = Math.Sqrt(((pair.ShiftX.Uncertainty * pair.ShiftX.Uncertainty) + (pair.ShiftY.Uncertainty * pair.ShiftY.Uncertainty)) / 2);
        string told = $"{pair.Color} stands {amount:0.00} ± {bar:0.00} pixels from {pair.Against} in the middle of the field";
        if (double.IsNaN(pair.ExpectedShift.Value))
        {
            notes.Add(LateralColorNotes.AirMixed.Say(
                $"{told}. Dispersion of the air and what the telescope adds (a wedge, a tilted or decentered lens) are mixed in it. Give "
                + "altitude, focal length and wavelengths to compare, or take the field near the zenith."));
        }
        else if (double.IsNaN(pair.TowardsZenith.Value))
        {
            double expected = Math.Abs(pair.ExpectedShift.Value), unsure = Math.Sqrt(Math.Pow(pair.ExpectedShift.Uncertainty, 2) + (bar * bar));
            NoteDefinition kind = Math.Abs(amount - expected) < 3 * unsure ? LateralColorNotes.AirMixed : LateralColorNotes.AirDoesNotExplain;
            notes.Add(kind.Say(
                $"{told}; dispersion of the air makes {expected:0.00} ± {pair.ExpectedShift.Uncertainty:0.00} at an altitude of "
                + $"{request.AltitudeDeg:0} degrees. Give zenith_direction to compare directions too."));
        }
        else
        {
            double along = Math.Abs(pair.TowardsZenith.Value) / pair.TowardsZenith.Uncertainty;
            double left = Math.Max(along, Math.Abs(pair.AcrossZenith.Value) / pair.AcrossZenith.Uncertainty);
            string rest =
                $"{told}. Less dispersion of the air at {request.AltitudeDeg:0} degrees ({pair.ExpectedShift.Value:+0.00;-0.00} ± "
                + $"{pair.ExpectedShift.Uncertainty:0.00} pixels towards the zenith) "
                + $"{pair.TowardsZenith.Value:+0.00;-0.00} pixels along and {pair.AcrossZenith.Value:+0.00;-0.00} across that direction are left";
            notes.Add(left < 3
                ? LateralColorNotes.AirExplains.Say(rest + ", which is within the uncertainties.")
                : LateralColorNotes.AirDoesNotExplain.Say(rest + ": a wedge, or a tilted or decentered lens, filter or corrector."));
        }
    }

    private static void Check(LateralColorRequest request)
    {
        int colors = request.Stars.Count, stars = request.Stars.Sum();
        if (colors < 2 || request.Colors.Count != colors || request.Reference >= colors)
        {
            throw new InputException("lateral-color.colors",
                $"{colors} color(s) with {request.Colors.Count} name(s), the reference being number {request.Reference}. Give two or more colors, "
                + "a name for each, and one of them as reference.", "frames");
        }

        if (request.Colors.Distinct().Count() != colors)
        {
            throw new InputException("lateral-color.colors",
                $"The colors are named {string.Join(", ", request.Colors)}. Give each a name of its own, one frame for each.", "frames");
        }

        if (request.WavelengthsNm.Count is not 0 && request.WavelengthsNm.Count != colors)
        {
            throw new InputException("lateral-color.wavelengths",
                $"{colors} colors need {colors} wavelengths, {request.WavelengthsNm.Count} are given.", "wavelengths");
        }

        double[][] given = [request.X, request.Y, request.XUncertainty, request.YUncertainty, request.Flux, request.Hfr, request.Flags];
        if (given.Any(a => a.Length != stars))
        {
            throw new InputException("lateral-color.lengths",
                $"{stars} stars are announced, but the arrays differ from that in length. Give one value of each for every star.", "x");
        }
    }

    /// <summary>Two colors compared: their numbers, the stars in both, the fit, and how the one moved against the other.</summary>
    private sealed record Compared(int Color, int Against, StarOffset[] Stars, OffsetModel Model, double[] Moved);
}
