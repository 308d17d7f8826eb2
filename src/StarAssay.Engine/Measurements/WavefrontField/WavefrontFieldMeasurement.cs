using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>The low modes of the wavefront over the field from one defocused pair of a star field.</summary>
public static class WavefrontFieldMeasurement
{
    // A law is told from nothing by so many of its standard uncertainties, where a node or a radius hangs on it.
    private const double Told = 3;

    // Speed of the air that carries the seeing, as for a single star.
    private const double WindMPerS = 6;

    // What grids and weights leave in all stars alike, nm (drawn pairs that were tuned on).
    private const double SharedNm = 0.1;

    /// <summary>Measures the wavefront over the field.</summary>
    /// <exception cref="InputException">Not two frames of one size, a value out of range.</exception>
    /// <exception cref="CannotMeasureException">Too few stars, too little defocus, both frames from one side of focus.</exception>
    [Measurement("wavefront_field", "Wavefront over the field")]
    public static WavefrontFieldResult Measure(WavefrontFieldRequest request, RunContext context)
    {
        FieldRules.Require(request);
        Check(request);
        context.Report(0.02, "finding stars");
        PairStars stars = PairStars.Of(request, context);
        context.Report(0.2, "fitting stars");
        StarFits fits = StarFits.Of(request, stars, context);
        if (fits.Stars.Length < PairStars.LeastStars)
        {
            throw new CannotMeasureException("wavefront-field.misfits",
                $"The model fits {fits.Stars.Length} of {stars.Stars.Length} discs only; {PairStars.LeastStars} are needed. Check aperture, focal length, "
                + "obstruction, pixel pitch and wavelength; in a crowded field defocus less.");
        }

        FieldLaws laws = FieldLaws.Of(request, fits.Stars, fits.Each);
        return Tell(request, stars, fits, laws);
    }

    private static WavefrontFieldResult Tell(WavefrontFieldRequest request, PairStars stars, StarFits fits, FieldLaws laws)
    {
        int width = request.Frames[0].Width, height = request.Frames[0].Height;
        var area = new SensorArea(width, height);
        double half = area.HalfDiagonal, reachU = area.ReachU, reachV = area.ReachV;
        double reachMm = half * request.PitchUm / 1000, ratio2 = request.FocalRatio * request.FocalRatio, depth = 2 * request.WavelengthNm / 1000 * ratio2;
        double nmPerUm = 1000 / (8 * ratio2) / (2 * Math.Sqrt(3));
        FieldLaw focus = laws.Focus, coma = laws.Coma, astigmatism = laws.Astigmatism, spherical = laws.Spherical, trefoil = laws.Trefoil;

        // Every distance from focus goes with pitch times focal ratio.
        Measured Distance(FieldLaw law, Func<double[], double> of, string unit = "um")
        {
            double value = of(law.Values);
            return new Measured(value, Hypot(law.Sigma(of), request.ScaleUncertainty * value), unit);
        }

        Measured One(FieldLaw law, int k) => new(law.Values[k], Hypot(law.Sigma(k), SharedNm), "nm");
        Measured across = Distance(focus, p => 2 * reachU * p[1]), up = Distance(focus, p => 2 * reachV * p[2]), sag = Distance(focus, p => p[3]);
        Measured tilt = Distance(focus, p => (2 * reachU * Math.Abs(p[1])) + (2 * reachV * Math.Abs(p[2])));
        Measured angle = Distance(focus, p => Math.Atan(Hypot(p[1], p[2]) / 1000 / reachMm) * 180 / Math.PI * 60, "arcmin");
        Measured split = new(-8 * ratio2 / 1000 * 2 * Math.Sqrt(6) * astigmatism.Values[4], 8 * ratio2 / 1000 * 2 * Math.Sqrt(6) * astigmatism.Sigma(4), "um");
        ComaFreePoint free = ComaFree(request, fits, coma, reachMm, null);
        ComaFreePoint? byTheory = request.Paraboloid
            ? ComaFree(request, fits, coma, reachMm, ComaFreePoint.ParaboloidSlope(request.FocalRatio, request.ScaleUncertainty)) : null;
        ComaFreePoint used = byTheory is { Verdict: not ComaFreeVerdict.NotTold } ? byTheory : free;
        Measured InMm(Measured um) => new(um.Value / 1000, um.Uncertainty / 1000, "mm");
        (double[] astX, double[] astY, double[] astBar) = Nodes(astigmatism, reachMm);
        double[] middle = [0, .. focus.Values[1..]], level = [0, 0, 0, focus.Values[3]];
        SensorQuality quality = SensorQuality.Of(reachU, reachV, nmPerUm, middle, coma.Values, astigmatism.Values, spherical.Values, trefoil.Values);
        SensorQuality leveled = SensorQuality.Of(reachU, reachV, nmPerUm, level, coma.Values, astigmatism.Values, spherical.Values, trefoil.Values);
        Measured rms = RmsOf(laws, (z, c, a, s, t) => SensorQuality.Of(reachU, reachV, nmPerUm, z, c, a, s, t).Rms);
        Measured rmsMiddle = RmsOf(laws, (_, c, a, s, t) => Math.Sqrt(FieldLaws.SquareAt(0, 0, c, a, s, t)));
        double way = laws.Travel.Values[0];
        Measured Side(double sign) => new((sign * way / 2) - focus.Values[0],
            Hypot(Hypot(focus.Sigma(0), laws.Travel.Sigma(0) / 2), request.ScaleUncertainty * way / 2), "um");
        Measured flexure = Distance(laws.Travel, p => (2 * reachU * Math.Abs(p[1])) + (2 * reachV * Math.Abs(p[2])));
        Measured inside = Side(-1), outside = Side(1);
        var facts = new FieldFacts(reachU, reachV, depth, inside.Value, outside.Value, flexure);
        List<Note> notes = WavefrontFieldJudgment.Notes(request, stars, fits, laws, facts);
        Tell(notes, free, byTheory);
        string[] doubts = [.. notes.Where(n => n.Level == NoteLevel.Doubt).Select(n => n.Text)];
        int count = fits.Stars.Length;
        Quantity Claimed(QuantityDefinition kind, Measured value) =>
            kind.Of(value, value.Uncertainty, request.WavelengthNm) with { Count = 1, Counted = "pairs", Doubts = doubts };
        Measured comaConstant = Size(coma, 0, 1), astConstant = Size(astigmatism, 0, 1), astLinear = Size(astigmatism, 2, 3);
        return new WavefrontFieldResult
        {
            TiltAcrossWidth = across,
            TiltAcrossHeight = up,
            SensorTilt = tilt,
            TiltAngle = angle,
            TiltDirectionDeg = Math.Atan2(focus.Values[2], focus.Values[1]) * 180 / Math.PI,
            CurvatureSag = sag,
            CurvatureRadius = new Measured(reachMm * reachMm * 1000 / (2 * sag.Value), Math.Abs(sag.Value) > 2 * sag.Uncertainty
                ? Math.Abs(reachMm * reachMm * 1000 / (2 * sag.Value) * sag.Uncertainty / sag.Value) : double.NaN, "mm"),
            ComaConstant = comaConstant,
            ComaConstantX = One(coma, 0),
            ComaConstantY = One(coma, 1),
            ComaLinear = One(coma, 2),
            ComaFree = free,
            ComaFreeByTheory = byTheory,
            ComaNodeX = InMm(free.X),
            ComaNodeY = InMm(free.Y),
            AstigmatismConstant = astConstant,
            AstigmatismConstantX = One(astigmatism, 0),
            AstigmatismConstantY = One(astigmatism, 1),
            AstigmatismLinear = astLinear,
            AstigmatismLinearX = One(astigmatism, 2),
            AstigmatismLinearY = One(astigmatism, 3),
            AstigmatismQuadratic = One(astigmatism, 4),
            AstigmaticSplit = split,
            NodeX = astX,
            NodeY = astY,
            NodeUncertaintyMm = astBar,
            Spherical = One(spherical, 0),
            Trefoil = Size(trefoil, 0, 1),
            TrefoilX = One(trefoil, 0),
            TrefoilY = One(trefoil, 1),
            RmsMiddle = rmsMiddle,
            RmsSensor = rms,
            RmsSensorLevelNm = leveled.Rms,
            BestX = (quality.BestU * half) + ((width - 1) / 2.0),
            BestY = (quality.BestV * half) + ((height - 1) / 2.0),
            InsideDistance = inside,
            OutsideDistance = outside,
            TravelTilt = flexure,
            SeeingArcsec = [.. fits.Seeing.Select(s => Seeing.FwhmFromStrength(s, request.WavelengthNm, request.ApertureMm))],
            DepthOfFocusUm = depth,
            ScatterFocusUm = focus.Scatter,
            Scatter = [coma.Scatter, astigmatism.Scatter, spherical.Scatter, trefoil.Scatter],
            ChiSquared = Robust.Median(fits.Each.Select(f => f.ChiSquared)),
            X = [.. fits.Stars.Select(s => s.X.Average())],
            Y = [.. fits.Stars.Select(s => s.Y.Average())],
            StarFocusUm = [.. fits.Each.Select(f => -f.Middle - focus.Values[0])],
            StarFocusUncertaintyUm = [.. fits.Each.Select(f => Math.Sqrt(f.FocusVariance + (focus.Scatter * focus.Scatter)))],
            CoefficientNm = Table(count, (s, j) => fits.Each[s].CoefficientNm[j]),
            CoefficientUncertaintyNm = Table(count, (s, j) => Math.Sqrt(fits.Each[s].Variance[j])),
            StarChiSquared = [.. fits.Each.Select(f => f.ChiSquared)],
            FinerNm = fits.Finer,
            FocusTerms = [.. focus.Values[1..]],
            ComaTerms = coma.Values,
            AstigmatismTerms = astigmatism.Values,
            Width = width,
            Height = height,
            PitchUm = request.PitchUm,
            FocalRatio = request.FocalRatio,
            WavelengthNm = request.WavelengthNm,
            Decided = doubts.Length == 0,
            Quantities =
            [
                Claimed(WavefrontFieldQuantities.SensorTilt, tilt),
                Claimed(WavefrontFieldQuantities.CurvatureSag, sag),
                Claimed(WavefrontFieldQuantities.ComaConstant, comaConstant),
                Claimed(WavefrontFieldQuantities.ComaLinear, One(coma, 2)),
                used.Claimed(WavefrontFieldQuantities.ComaFreeDistance, request.WavelengthNm, doubts) with { Count = 1, Counted = "pairs" },
                Claimed(WavefrontFieldQuantities.AstigmatismConstant, astConstant),
                Claimed(WavefrontFieldQuantities.AstigmatismLinear, astLinear),
                Claimed(WavefrontFieldQuantities.AstigmatismQuadratic, One(astigmatism, 4)),
                Claimed(WavefrontFieldQuantities.Spherical, One(spherical, 0)),
                Claimed(WavefrontFieldQuantities.RmsSensor, rms),
            ],
            Notes = notes,
        };
    }

    // All stars lie behind the same air of the tube and the ground: what it leaves in their coma moves the place as one.
    private static ComaFreePoint ComaFree(WavefrontFieldRequest request, StarFits fits, FieldLaw coma, double reachMm, Measured? known)
    {
        double air = 0;
        for (int k = 0; k < 2; k++)
        {
            double exposure = request.Frames[k].ExposureS > 0 ? request.Frames[k].ExposureS : 1;
            air += AirVariance.Mean(3, WindMPerS * exposure / (request.ApertureMm * 1e-3)) * fits.Seeing[k]
                * Math.Pow(request.WavelengthNm / (2 * Math.PI), 2) / 4;
        }

        double[] per = [1, 1, reachMm];
        double[] values = [.. coma.Values.Select((value, k) => value / per[k])];
        var covariance = Matrix<double>.Build.Dense(3, 3,
            (j, k) => (coma.Covariance[j, k] / (per[j] * per[k])) + (j == k && j < 2 ? air + (SharedNm * SharedNm) : 0));
        return ComaFreePoint.Of(values, covariance, request.Frames[0].Width, request.Frames[0].Height, request.PitchUm, known);
    }

    private static void Tell(List<Note> notes, ComaFreePoint free, ComaFreePoint? byTheory)
    {
        if (byTheory is { Verdict: ComaFreeVerdict.NotTold })
        {
            notes.Add(WavefrontFieldNotes.NotParaboloid.Say($"The place without coma is not told with a paraboloid's coma. {byTheory.Reason}"));
        }

        if (free.Reason.Length > 0 && byTheory is null or { Verdict: ComaFreeVerdict.NotTold })
        {
            notes.Add(WavefrontFieldNotes.ComaFree.Say($"Where the coma-free axis meets the sensor is not told by these stars. {free.Reason}"));
        }
    }

    private static double[,] Table(int stars, Func<int, int, double> value)
    {
        double[,] table = new double[stars, StarFits.FieldModes];
        for (int s = 0; s < stars; s++)
        {
            for (int j = 0; j < StarFits.FieldModes; j++)
            {
                table[s, j] = value(s, j);
            }
        }

        return table;
    }

    /// <summary>Length of a vector of two unknowns, what its uncertainty adds on average taken off its square.</summary>
    private static Measured Size(FieldLaw law, int first, int second)
    {
        double x = law.Values[first], y = law.Values[second];
        double noise = law.Covariance[first, first] + law.Covariance[second, second], square = (x * x) + (y * y);
        double bar = square > noise ? law.Sigma(p => Hypot(p[first], p[second])) : Math.Sqrt(noise / 2);
        return new Measured(Math.Sqrt(Math.Max(0, square - noise)), Hypot(bar, SharedNm), "nm");
    }

    /// <summary>A size made of all laws, which are taken as independent: the variances that single laws give it add up.</summary>
    private static Measured RmsOf(FieldLaws laws, Func<double[], double[], double[], double[], double[], double> of)
    {
        double[] Focus(double[] p) => [0, .. p[1..]];
        double[] z = Focus(laws.Focus.Values), c = laws.Coma.Values, a = laws.Astigmatism.Values, s = laws.Spherical.Values, t = laws.Trefoil.Values;
        double variance = Math.Pow(laws.Focus.Sigma(p => of(Focus(p), c, a, s, t)), 2) + Math.Pow(laws.Coma.Sigma(p => of(z, p, a, s, t)), 2)
            + Math.Pow(laws.Astigmatism.Sigma(p => of(z, c, p, s, t)), 2) + Math.Pow(laws.Spherical.Sigma(p => of(z, c, a, p, t)), 2)
            + Math.Pow(laws.Trefoil.Sigma(p => of(z, c, a, s, p)), 2);
        return new Measured(of(z, c, a, s, t), Hypot(Math.Sqrt(variance), SharedNm), "nm");
    }

    // Where the quadratic part is not told from nothing its nodes may lie anywhere; nodes nearer to each other than their bars are one.
    private static (double[] X, double[] Y, double[] Bar) Nodes(FieldLaw astigmatism, double reachMm)
    {
        if (!(Math.Abs(astigmatism.Values[4]) > Told * astigmatism.Sigma(4)))
        {
            return ([], [], []);
        }

        (System.Numerics.Complex first, System.Numerics.Complex second) = FieldTerms.Nodes(astigmatism.Values);
        System.Numerics.Complex[] nodes = [first, second];
        double[] bar = [.. nodes.Select((node, k) =>
        {
            // The root that lies nearer to the node, whichever of the two a small change makes it.
            System.Numerics.Complex Near(double[] p)
            {
                (System.Numerics.Complex a, System.Numerics.Complex b) = FieldTerms.Nodes(p);
                return System.Numerics.Complex.Abs(a - node) < System.Numerics.Complex.Abs(b - node) ? a : b;
            }

            return Math.Sqrt((Math.Pow(astigmatism.Sigma(p => Near(p).Real), 2) + Math.Pow(astigmatism.Sigma(p => Near(p).Imaginary), 2)) / 2) * reachMm;
        })];
        return ([.. nodes.Select(n => n.Real * reachMm)], [.. nodes.Select(n => n.Imaginary * reachMm)], bar);
    }

    private static double Hypot(double a, double b) => Math.Sqrt((a * a) + (b * b));

    private static void Check(WavefrontFieldRequest request)
    {
        request.Pupil.RequireValid();
        if (request.Frames.Count != 2)
        {
            throw new InputException("wavefront-field.frames", $"{request.Frames.Count} frames were given; the measurement takes one pair, inside and outside "
                + "of focus.", "frames");
        }

        foreach (Frame frame in request.Frames)
        {
            frame.RequireConsistent();
        }

        (Frame a, Frame b) = (request.Frames[0], request.Frames[1]);
        if (a.Width != b.Width || a.Height != b.Height)
        {
            throw new InputException("wavefront-field.sizes", $"{a.Name} has {a.Width} x {a.Height} pixels, {b.Name} {b.Width} x {b.Height}. Give two frames "
                + "of one camera in one mode.", "frames");
        }

        if (a.Pixels.Bytes.Span.SequenceEqual(b.Pixels.Bytes.Span))
        {
            throw new CannotMeasureException("wavefront-field.same-image",
                $"{a.Name} and {b.Name} hold the very same pixels. Give one frame from inside and one from outside of focus.", b.Name);
        }
    }
}
