using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.PlateScale;

/// <summary>Focal length, distortion and field of view from stars with known directions.</summary>
public static class PlateScaleMeasurement
{
    /// <summary>Fewer stars than this leave less than four equations beyond the six unknowns of an affine transformation.</summary>
    public const int LeastStars = 5;

    // Relative standard uncertainty of a nominal pixel pitch (common practice, no source).
    private const double NominalPitch = 1e-3;

    // Refraction of (n - 1) tan z shrinks a field by n - 1 across the vertical and (n - 1) sec^2 z along it, with n - 1 = 2.8e-4 at sea
    // level: 0.03 % at the zenith, 0.07 % at z = 60 deg in the mean of both. Aberration (0.01 % at most) drowns in it.
    private const double Refraction = 5e-4;

    // Relative standard uncertainty of a stated aperture (common practice, no source).
    private const double NominalAperture = 5e-3;

    private const int CurvePoints = 41;
    private const double DegPerRadian = 180 / Math.PI;

    /// <summary>Measures the plate scale.</summary>
    [Measurement("plate_scale", "Plate scale")]
    public static PlateScaleResult Measure(PlateScaleRequest request, RunContext context)
    {
        FieldRules.Require(request);
        Check(request);
        PlateModel model = PlateModel.Fit(request);
        context.Cancel.ThrowIfCancellationRequested();

        double[] p = model.P;
        bool bent = model.Unknowns > PlateModel.Affine;
        double relative = model.Uncertainty(Scale) / Scale(p);
        double pitchPart = double.IsFinite(request.PitchUncertaintyUm) ? request.PitchUncertaintyUm / request.PitchUm : NominalPitch;
        double common = Math.Sqrt((pitchPart * pitchPart) + (Refraction * Refraction));
        double focal = request.PitchUm / 1000 * Scale(p) / model.Reach;
        Measured Relative(double value, string unit, double more = 0) =>
            new(value, Math.Abs(value) * Math.Sqrt((relative * relative) + (common * common) + (more * more)), unit);

        var focalLength = Relative(focal, "mm");
        Measured reducer = Relative(focal / request.NominalFocalLengthMm, string.Empty);
        Measured ratio = Relative(focal / request.ApertureMm, string.Empty, NominalAperture);

        // The pitch takes no part in what is an angle only.
        double pixel = model.Reach / Scale(p) * Seeing.ArcsecPerRadian;
        var pixelScale = new Measured(pixel, pixel * Math.Sqrt((relative * relative) + (Refraction * Refraction)), "arcsec / pix");

        double w = request.Width - 1, h = request.Height - 1;
        Measured Angle(Func<double[], double> of)
        {
            double random = model.Uncertainty(of);
            return new Measured(of(p), Math.Sqrt((random * random) + Math.Pow(of(p) * Refraction, 2)), "deg");
        }

        double Between(double[] q, double x1, double y1, double x2, double y2) => Apart(q, model.Reach, x1, y1, x2, y2);
        double One(double[] q) => Between(q, -0.5, -0.5, w + 0.5, h + 0.5);
        double Other(double[] q) => Between(q, -0.5, h + 0.5, w + 0.5, -0.5);
        Func<double[], double> longer = One(p) >= Other(p) ? One : Other;
        Measured diagonal = Angle(longer);

        // Out to the farthest corner as the sky has it.
        double corner = new[] { (-0.5, -0.5), (w + 0.5, -0.5), (-0.5, h + 0.5), (w + 0.5, h + 0.5) }
            .Max(c => Length(PlateModel.Back(p, c.Item1, c.Item2)));
        double[] at = [.. Enumerable.Range(0, CurvePoints).Select(k => corner * k / (CurvePoints - 1))];
        double[] curve = [.. at.Select(r => bent ? Percent(p, r) : double.NaN)];
        double[] bars = [.. at.Select(r => bent ? model.Uncertainty(q => Percent(q, r)) : double.NaN)];
        var edge = new Measured(curve[^1], bars[^1], "%");

        (double size, double across) = Parts(p);
        (double T1, double T2) slopes = (model.Uncertainty(q => Across(q).First), model.Uncertainty(q => Across(q).Second));
        var anamorphism = new Measured(2 * across / (size - across),
            2 * Math.Sqrt(((slopes.T1 * slopes.T1) + (slopes.T2 * slopes.T2)) / 2) / size, string.Empty);

        int n = request.X.Length;
        double[] rx = new double[n], ry = new double[n], angle = new double[n], own = new double[n];
        for (int i = 0; i < n; i++)
        {
            (rx[i], ry[i]) = model.Residual(i);
            (double u, double v) = (request.Xi[i] / model.Reach, request.Eta[i] / model.Reach);
            double r = Math.Sqrt((u * u) + (v * v));
            angle[i] = Math.Atan(r * model.Reach) * DegPerRadian;
            double ax = (p[2] * u) + (p[3] * v), ay = (p[4] * u) + (p[5] * v), height2 = (ax * ax) + (ay * ay);
            own[i] = height2 > 0 ? Percent(p, r) + (100 * ((rx[i] * ax) + (ry[i] * ay)) / height2) : double.NaN;
        }

        int used = model.Used.Count(k => k);
        double sum = Enumerable.Range(0, n).Where(i => model.Used[i]).Sum(i => (rx[i] * rx[i]) + (ry[i] * ry[i]));
        double det = (p[2] * p[5]) - (p[3] * p[4]);
        (double cu, double cv) = PlateModel.Back(p, w / 2, h / 2);
        double outermost = Enumerable.Range(0, n).Where(i => model.Used[i]).Max(i => Math.Tan(angle[i] / DegPerRadian)) / model.Reach;
        List<Note> notes = Tell(request, model, anamorphism, used, outermost / corner);

        var quantities = new List<Quantity> { PlateScaleQuantities.FocalLength.Of(focalLength, focal * relative) };
        if (double.IsFinite(reducer.Value))
        {
            quantities.Add(PlateScaleQuantities.ReducerFactor.Of(reducer, reducer.Value * relative));
        }

        if (double.IsFinite(ratio.Value))
        {
            quantities.Add(PlateScaleQuantities.FocalRatio.Of(ratio, ratio.Value * relative));
        }

        if (bent)
        {
            quantities.Add(PlateScaleQuantities.DistortionEdge.Of(edge, edge.Uncertainty));
        }

        quantities.Add(PlateScaleQuantities.FieldOfViewDiagonal.Of(diagonal, model.Uncertainty(longer)));
        return new PlateScaleResult
        {
            FocalLength = focalLength,
            ReducerFactor = reducer,
            FocalRatio = ratio,
            PixelScale = pixelScale,
            DistortionEdge = edge,
            FieldOfViewWidth = Angle(q => Between(q, -0.5, h / 2, w + 0.5, h / 2)),
            FieldOfViewHeight = Angle(q => Between(q, w / 2, -0.5, w / 2, h + 0.5)),
            FieldOfViewDiagonal = diagonal,
            Anamorphism = anamorphism,
            NorthAngleDeg = Math.Atan2(p[5], p[3]) * DegPerRadian,
            Mirrored = det > 0,
            DistortionOrder = model.Unknowns == PlateModel.Fifth ? 5 : bent ? 3 : 1,
            FieldAngleDeg = [.. at.Select(r => Math.Atan(r * model.Reach) * DegPerRadian)],
            IdealHeightMm = [.. at.Select(r => r * model.Reach * focal)],
            Distortion = curve,
            DistortionUncertainty = bars,
            X = request.X,
            Y = request.Y,
            XResidualPx = rx,
            YResidualPx = ry,
            StarAngleDeg = angle,
            StarDistortion = own,
            Used = model.Used,
            ResidualRmsPx = Math.Sqrt(sum / (2 * used)),
            AddedScatterPx = model.Added,
            CenterXi = cu * model.Reach,
            CenterEta = cv * model.Reach,
            Source = request.Source,
            Quantities = quantities,
            Notes = notes,
        };
    }

    /// <summary>Geometric mean of the scales in both directions.</summary>
    private static double Scale(double[] p) => Math.Sqrt(Math.Abs((p[2] * p[5]) - (p[3] * p[4])));

    /// <summary>Relative distortion at a scaled height, per cent.</summary>
    private static double Percent(double[] p, double r) => 100 * r * r * (p[10] + (p[11] * r * r));

    private static double Length((double U, double V) at) => Math.Sqrt((at.U * at.U) + (at.V * at.V));

    /// <summary>The part of the matrix that is no turn, mirror or size: zero when the scale is the same in all directions.</summary>
    private static (double First, double Second) Across(double[] p) => (p[2] * p[5]) - (p[3] * p[4]) > 0
        ? ((p[2] - p[5]) / 2, (p[3] + p[4]) / 2)
        : ((p[2] + p[5]) / 2, (p[3] - p[4]) / 2);

    private static (double Size, double Across) Parts(double[] p)
    {
        (double a, double b) = Across(p);
        double across2 = (a * a) + (b * b);
        return (Math.Sqrt((Scale(p) * Scale(p)) + across2), Math.Sqrt(across2));
    }

    /// <summary>Angle on the sky between two pixels, degrees.</summary>
    private static double Apart(double[] p, double reach, double x1, double y1, double x2, double y2)
    {
        (double u1, double v1) = PlateModel.Back(p, x1, y1);
        (double u2, double v2) = PlateModel.Back(p, x2, y2);
        (u1, v1, u2, v2) = (u1 * reach, v1 * reach, u2 * reach, v2 * reach);

        // By sine and cosine, for small angles too: |a x b| and a.b of (u, v, 1).
        double cx = v1 - v2, cy = u2 - u1, cz = (u1 * v2) - (v1 * u2);
        return Math.Atan2(Math.Sqrt((cx * cx) + (cy * cy) + (cz * cz)), (u1 * u2) + (v1 * v2) + 1) * DegPerRadian;
    }

    private static void Check(PlateScaleRequest request)
    {
        int n = request.X.Length;
        if (request.Y.Length != n || request.Xi.Length != n || request.Eta.Length != n)
        {
            throw new InputException("plate-scale.lengths",
                $"x has {n} stars, y {request.Y.Length}, xi {request.Xi.Length}, eta {request.Eta.Length}. Give one of each for every star.", "x");
        }

        if (n < LeastStars)
        {
            throw new CannotMeasureException("plate-scale.too-few",
                $"{n} stars with sky positions; at least {LeastStars} are needed. Expose longer, or list more stars.");
        }

        if (request.X.Concat(request.Y).Concat(request.Xi).Concat(request.Eta).Any(v => !double.IsFinite(v)))
        {
            throw new InputException("plate-scale.not-finite", "A star's place or sky position is not a number. Leave such stars out.", "x");
        }
    }

    private static List<Note> Tell(PlateScaleRequest request, PlateModel model, Measured anamorphism, int used, double covered)
    {
        int n = request.X.Length, wrong = n - used;
        var notes = new List<Note>
        {
            request.Source == PositionSource.Solution
                ? PlateScaleNotes.FromSolution.Say($"The geometry is that of the frame's celestial solution at {used} measured stars. The error bars are " +
                    "what stars placed to 0.2 pixels allow; what the solution itself is wrong by does not show.")
                : PlateScaleNotes.FromList.Say($"The geometry comes from {used} stars with listed sky positions."),
        };
        if (wrong > 0)
        {
            NoteDefinition kind = wrong > 0.2 * n ? PlateScaleNotes.ManyWrongMatches : PlateScaleNotes.WrongMatches;
            notes.Add(kind.Say($"{wrong} of {n} stars do not stand where their sky positions put them; they were left out as wrong matches."));
        }

        if (model.Unknowns == PlateModel.Affine)
        {
            notes.Add(PlateScaleNotes.NoDistortion.Say($"{used} stars cannot tell distortion from focal length; none was fitted, and the focal length is a " +
                "mean over the field. List more stars, out to the corners."));
        }
        else if (model.Unknowns == PlateModel.Third)
        {
            notes.Add(PlateScaleNotes.FewStars.Say($"{used} stars carry the third order of the distortion alone; a fifth order would be missed. List 18 or " +
                "more."));
        }

        if (covered < 0.8)
        {
            notes.Add(PlateScaleNotes.CornersEmpty.Say($"The outermost star stands at {100 * covered:0} % of the way to the corner; distortion beyond it is " +
                "extrapolated."));
        }

        if (request.Source == PositionSource.Solution && model.Added > 0.1)
        {
            notes.Add(PlateScaleNotes.NotRadial.Say($"The frame's celestial solution bends the field by {model.Added:0.00} pixels beside a lens's " +
                "distortion; these residuals have a pattern, so the error bar of the distortion may be too small. A list of star positions tells more."));
        }
        else if (model.Added > 0.02)
        {
            notes.Add(PlateScaleNotes.Scatter.Say($"Stars scatter by {model.Added:0.000} pixels beside their own uncertainties; the error bars contain it."));
        }

        if (!double.IsFinite(request.PitchUncertaintyUm))
        {
            notes.Add(PlateScaleNotes.PitchNominal.Say($"The pixel pitch of {request.PitchUm:G5} um is nominal and taken as known to 0.1 %; all frames of " +
                "this camera share that."));
        }

        notes.Add(PlateScaleNotes.Refraction.Say("Positions are not corrected for refraction, which shrinks the field by 0.03 % at the zenith and 0.07 % at " +
            "an altitude of 30 degrees; 0.05 % is in the common part of the uncertainties."));
        if (anamorphism.Value > 5e-4 && anamorphism.Value > 4 * anamorphism.Uncertainty)
        {
            notes.Add(PlateScaleNotes.NotSquare.Say($"The scale differs by {100 * anamorphism.Value:0.00} % with the direction: refraction low in the sky, " +
                "pixels that are not square, or a tilted element."));
        }

        return notes;
    }
}
