using StarAssay.Engine.Imaging;
using System.Numerics;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.FieldSharpness;

/// <summary>Sharpness and roundness of the stars over one frame, what their pattern means, and where the blur comes from.</summary>
public static class FieldSharpnessMeasurement
{
    // A nominal focal length is off by so much (common practice, no source; as the star table takes it).
    private const double NominalScale = 0.01;

    // The limit of the sharp circle where none is stated, over the FWHM in the middle (common practice, no source).
    private const double UsualLimit = 1.2;

    // What sizes, ellipses and third moments follow the simple pattern to (drawn fields).
    private const double SizeFloor = 0.02, ShapeFloor = 0.01, SkewFloor = 0.01;

    // Stars with which causes are weighed: more do not decide more, since the pattern is not truer than the floors.
    private const int MostWeighed = 240;

    // What all half-flux radii are off by together (docs/stars.md).
    private const double HfrError = 0.003;

    // Stars that differ more than this from their neighbors are no stars, or a field that no simple pattern describes.
    private const double UnlikeMisfit = 4, MostScatter = 0.08;

    private const int MapColumns = 31, MapRows = 21;

    /// <summary>Measures the sharpness of the field.</summary>
    /// <exception cref="InputException">Columns of unequal length, a value out of range.</exception>
    /// <exception cref="CannotMeasureException">Too few stars.</exception>
    [Measurement("field_sharpness", "Field sharpness")]
    public static FieldSharpnessResult Measure(FieldSharpnessRequest request, RunContext context)
    {
        FieldRules.Require(request);
        Check(request);
        context.Report(0.05, "choosing the stars");
        SharpStars stars = SharpStars.Of(request);
        context.Report(0.1, "fitting smooth fields");
        int[] wide = [.. Enumerable.Range(0, stars.Rows.Length).Where(k => stars.FwhmUm[k] > 0 && double.IsFinite(stars.FwhmRelative[k]))];
        var fields = SharpFields.Of(stars);
        context.Report(0.4, "weighing causes");
        CauseFit causes = Weigh(request, stars, fields, context);
        context.Report(0.8, "splitting the blur");
        return Tell(request, stars, fields, causes, context);
    }

    private static CauseFit Weigh(FieldSharpnessRequest request, SharpStars stars, SharpFields fields, RunContext context)
    {
        Complex[] skew = stars.Skew(request, context.Parallel);
        int[] turned = [.. Enumerable.Range(0, skew.Length).Where(k => double.IsFinite(skew[k].Real))];

        // The noise of a third moment goes with that of the light; what is more shows as scatter about a smooth field.
        double[] noise = [.. stars.Rows.Select(i => 1.5 / request.Snr[i])];
        AveragedField? lopsided = turned.Length >= 12
            ? AveragedField.Fit([.. turned.Select(k => stars.Place[k])], [.. turned.Select(k => skew[k])], [.. turned.Select(k => noise[k])], 2,
                FieldTerms.Tails)
            : null;
        double[] sizeError = [.. stars.HfrRelative.Select(s => 2 * Norm(s, fields.HfrScatter, SizeFloor / 2))];
        int[] good = [.. Enumerable.Range(0, stars.Rows.Length).Where(k =>
            Math.Abs(2 * Math.Log(stars.HfrUm[k] / fields.Hfr(stars.Place[k]))) < 4 * sizeError[k]
            && (stars.Moments[k] - fields.Moments(stars.Place[k])).Magnitude < 5 * Norm(stars.ShapeError[k], fields.ShapeScatter, ShapeFloor))];
        good = good.Length >= 10 ? good : [.. Enumerable.Range(0, stars.Rows.Length)];

        bool Wild(int k) => lopsided is null || !double.IsFinite(skew[k].Real)
            || (skew[k] - lopsided.At(stars.Place[k])).Magnitude > 5 * Norm(noise[k], lopsided.Scatter, SkewFloor);

        // The table is sorted by brightness; every so many keep all parts of the field.
        int step = Math.Max(1, (good.Length + MostWeighed - 1) / MostWeighed);
        double median = 2 * Robust.Median(good.Select(k => Math.Log(stars.HfrUm[k])));
        PatternStar[] chosen = [.. good.Where((_, n) => n % step == 0).Select(k => new PatternStar(stars.Place[k], (2 * Math.Log(stars.HfrUm[k])) - median,
            sizeError[k], stars.Moments[k], Norm(stars.ShapeError[k], fields.ShapeScatter, ShapeFloor),
            Wild(k) ? new Complex(double.NaN, double.NaN) : skew[k],
            Norm(noise[k], lopsided?.Scatter ?? 0, SkewFloor)))];
        return CauseFit.Of(chosen, context.Parallel);
    }

    private static FieldSharpnessResult Tell(FieldSharpnessRequest request, SharpStars stars, SharpFields fields, CauseFit causes, RunContext context)
    {
        var area = new SensorArea(request.Width, request.Height);
        double half = area.HalfDiagonal, reachU = area.ReachU, reachV = area.ReachV;
        double mm = request.PitchUm / 1000, halfMm = half * mm, scale = request.PixelScaleArcsecPerPx;
        double usual = fields.Fwhm(Complex.Zero) / request.PitchUm, common = ProfileError(usual);
        Measured Width(Func<Func<Complex, double>, double> read, string unit, out double random)
        {
            (double value, random) = fields.OfFwhm(read);
            return new Measured(value, Math.Sqrt((random * random) + Math.Pow(common * value, 2)), unit);
        }

        Measured OnSky(Measured um)
        {
            double arcsec = um.Value / request.PitchUm * scale;
            return new Measured(arcsec, double.Hypot(um.Uncertainty / request.PitchUm * scale, request.ScaleFromSky ? 0 : NominalScale * arcsec), "arcsec");
        }

        Complex[] corners = Corners(reachU, reachV);
        Measured center = Width(f => f(Complex.Zero), "um", out _), corner = Width(f => corners.Average(f), "um", out double cornerRandom);
        (double ratio, double ratioRandom) = fields.OfFwhm(f => corners.Average(f) / f(Complex.Zero));
        var cornerToCenter = new Measured(ratio, ratioRandom, string.Empty);
        Measured cornerShape = RoundedOff(fields, corners);

        var split = new FieldShape(reachU, reachV);
        (double cx, double cxError) = fields.OfShape(f => split.Split(f).Common.Real);
        (double cy, double cyError) = fields.OfShape(f => split.Split(f).Common.Imaginary);
        (double radial, double radialError) = fields.OfShape(f => split.Split(f).Radial);
        (double rest, double restError) = fields.OfShape(f => split.Split(f).Other);
        double noise2 = (cxError * cxError) + (cyError * cyError);
        var shared = new Measured(Math.Sqrt(Math.Max(0, (cx * cx) + (cy * cy) - noise2)), Math.Sqrt(noise2 / 2), string.Empty);

        double limit = double.IsNaN(request.BlurLimitUm) ? UsualLimit * center.Value : request.BlurLimitUm;
        bool stated = !double.IsNaN(request.BlurLimitUm);
        (double circle, double circleError) = fields.OfFwhm(f => SharpCircle.Radius(f, stated ? limit : UsualLimit * f(Complex.Zero), reachU, reachV));
        bool everywhere = circle > 0.995;
        var sharp = new Measured(2 * circle * halfMm, everywhere ? 0 : 2 * circleError * halfMm, "mm");

        bool unlike = causes.Misfit > UnlikeMisfit || Math.Max(fields.HfrScatter, fields.FwhmScatter) > MostScatter;
        IReadOnlyList<BlurCause> told = CauseTelling.Of(causes, reachU, reachV, unlike, Side(fields, reachU, reachV));
        bool trails = told.Any(c => c is { Cause: "trailing", Verdict: "present" });

        // A straight, even trail of length L adds L^2 / 12 to the moment along it; a Gaussian star of half-flux radius h has moments that sum to
        // h^2 / ln 2.
        double drawn = CauseTelling.Trail(causes).Magnitude, middle = fields.Hfr(Complex.Zero) / request.PitchUm * scale;
        double trail = trails ? Math.Sqrt(12 * drawn * middle * middle / Math.Log(2)) : 0;
        var notes = new List<Note>();
        IReadOnlyList<SharpnessPart> budget = SharpnessBudget.Of(request, center, corner, trail, notes);
        notes.InsertRange(0, Notes(request, stars, fields, causes, told, shared, unlike, usual));
        string[] doubts = [.. notes.Where(n => n.Level == NoteLevel.Doubt).Select(n => n.Text)];
        var quantities = new List<Quantity>
        {
            FieldSharpnessQuantities.CornerFwhm.Of(corner, cornerRandom) with { Doubts = doubts },
            FieldSharpnessQuantities.CornerToCenter.Of(cornerToCenter, ratioRandom) with { Doubts = doubts },
            FieldSharpnessQuantities.CornerEllipticity.Of(cornerShape, cornerShape.Uncertainty) with { Doubts = doubts },
            FieldSharpnessQuantities.SharpCircle.Of(sharp, sharp.Uncertainty) with { Doubts = doubts, MayBeMore = everywhere ? 1e4 : 0 },
        };
        if (scale > 0)
        {
            quantities.Add(FieldSharpnessQuantities.CornerFwhmOnSky.Of(OnSky(corner), cornerRandom / request.PitchUm * scale) with { Doubts = doubts });
        }

        double[,] widths = new double[MapRows, MapColumns], widthErrors = new double[MapRows, MapColumns], radii = new double[MapRows, MapColumns];
        double[,] longX = new double[MapRows, MapColumns], longXy = new double[MapRows, MapColumns], longError = new double[MapRows, MapColumns];
        Parallel.For(0, MapRows, context.Parallel, j =>
        {
            for (int i = 0; i < MapColumns; i++)
            {
                var z = new Complex(reachU * ((2.0 * i / (MapColumns - 1)) - 1), reachV * ((2.0 * j / (MapRows - 1)) - 1));
                (widths[j, i], widthErrors[j, i]) = fields.OfFwhm(f => f(z));
                radii[j, i] = fields.Hfr(z);
                (longX[j, i], double ex) = fields.OfShape(f => f(z).Real);
                (longXy[j, i], double ey) = fields.OfShape(f => f(z).Imaginary);
                longError[j, i] = Math.Max(ex, ey);
            }
        });
        return new FieldSharpnessResult
        {
            CenterFwhm = center,
            CornerFwhm = corner,
            CenterFwhmOnSky = OnSky(center),
            CornerFwhmOnSky = OnSky(corner),
            CornerToCenter = cornerToCenter,
            CornerEllipticity = cornerShape,
            CommonLengthening = shared,
            CommonDirectionDeg = Math.Atan2(cy, cx) * 90 / Math.PI,
            RadialLengthening = new Measured(radial, radialError, string.Empty),
            OtherLengthening = new Measured(rest, restError, string.Empty),
            BlurLimitUm = limit,
            SharpCircle = sharp,
            SharpEverywhere = everywhere,
            Formats = [.. SensorFormats.Within(request.Width * mm, request.Height * mm).Select(f => Format(f, halfMm, Width, fields))],
            Causes = told,
            Budget = budget,
            Stars = stars.Rows.Length,
            X = [.. stars.Rows.Select(i => request.X[i])],
            Y = [.. stars.Rows.Select(i => request.Y[i])],
            StarFwhmUm = stars.FwhmUm,
            StarHfrUm = stars.HfrUm,
            StarEllipticity = [.. stars.Shape.Select(e => e.Magnitude)],
            StarDirectionDeg = [.. stars.Shape.Select(e => e.Phase * 90 / Math.PI)],
            FwhmMapUm = widths,
            FwhmMapUncertaintyUm = widthErrors,
            HfrMapUm = radii,
            LengtheningMapX = longX,
            LengtheningMapXy = longXy,
            LengtheningMapUncertainty = longError,
            Width = request.Width,
            Height = request.Height,
            PitchUm = request.PitchUm,
            PixelScaleArcsecPerPx = scale,
            Quantities = quantities,
            Notes = notes,
        };
    }

    private delegate Measured ReadWidth(Func<Func<Complex, double>, double> read, string unit, out double random);

    private static FormatSharpness Format((string Name, double Width, double Height) format, double halfMm, ReadWidth width, SharpFields fields)
    {
        double u = format.Width / 2 / halfMm, v = format.Height / 2 / halfMm;
        Complex[] corners = Corners(u, v), edges = [new(u, 0), new(-u, 0), new(0, v), new(0, -v)];
        (double radius, double radiusError) = fields.OfHfr(f => corners.Average(f));
        return new FormatSharpness(format.Name, format.Width, format.Height, width(f => f(Complex.Zero), "um", out _),
            width(f => corners.Average(z => f(0.5 * z)), "um", out _), width(f => edges.Average(f), "um", out _), width(f => corners.Average(f), "um", out _),
            width(f => corners.Max(f), "um", out _), new Measured(radius, double.Hypot(radiusError, HfrError * radius), "um"), RoundedOff(fields, corners));
    }

    /// <summary>Root mean square lengthening at some places, the noise of the smooth field taken out.</summary>
    private static Measured RoundedOff(SharpFields fields, Complex[] places)
    {
        (double value, double error) = fields.OfShape(f => Math.Sqrt(places.Average(z => Square(f(z)))));
        double noise2 = places.Average(z => Math.Pow(fields.OfShape(f => f(z).Real).Sigma, 2) + Math.Pow(fields.OfShape(f => f(z).Imaginary).Sigma, 2));

        // At a round star the root bends, and its slope says nothing.
        return new Measured(Math.Sqrt(Math.Max(0, (value * value) - noise2)), Math.Max(error, (value * value < 2 * noise2 ? 1 : 0.5) * Math.Sqrt(noise2)),
            string.Empty);
    }

    private static List<Note> Notes(FieldSharpnessRequest request, SharpStars stars, SharpFields fields, CauseFit causes, IReadOnlyList<BlurCause> told,
        Measured shared, bool unlike, double usualPx)
    {
        int n = stars.Rows.Length, single = request.Flags.Count(f => ((StarMarks)(int)f & StarMarks.Blended) != 0);
        var notes = new List<Note>
        {
            FieldSharpnessNotes.Method.Say($"{n} stars. Polynomials over the sensor up to the fourth order, averaged by their evidence; their " +
                "uncertainties hold the stars' " +
                $"scatter of {100 * fields.FwhmScatter:0.0} % about them. Widths are those of the light before the pixels, at half of the stars' own height."),
        };
        if (n < 40)
        {
            notes.Add(FieldSharpnessNotes.FewStars.Say($"Only {n} stars carry the field. A richer field or a longer exposure makes it surer."));
        }

        if (single > request.X.Length / 2)
        {
            notes.Add(FieldSharpnessNotes.FewWhole.Say($"{single} of {request.X.Length} objects have a neighbor within the circle that counts as the " +
                "whole star and were " +
                "left out. A less crowded field uses more of its stars."));
        }

        double reach = 1;
        foreach ((double a, double b) in new[] { (1.0, 1.0), (1, -1), (-1, 1), (-1, -1) })
        {
            reach = Math.Min(reach, stars.Place.Where(z => z.Real * a > 0 && z.Imaginary * b > 0).Select(z => z.Magnitude).DefaultIfEmpty(0).Max());
        }

        if (reach < 0.7)
        {
            notes.Add(FieldSharpnessNotes.CornersEmpty.Say($"In one quarter of the sensor no star stands farther out than {100 * reach:0} % of the " +
                "way to the corner; " +
                "figures beyond are extrapolated."));
        }

        if (told.Any(c => c is { Cause: "trailing", Verdict: "present" }))
        {
            notes.Add(FieldSharpnessNotes.Trailing.Say($"All stars are drawn out in one direction by {shared.Value:0.000}, as tracking, wind or a low " +
                "sky do. Corner " +
                "ellipticity and widths contain it; judge the optics by a frame without it."));
        }

        double own = Robust.Median(stars.FwhmRelative.Where(double.IsFinite));
        if (fields.FwhmScatter > 0.05 && fields.FwhmScatter > 3 * own)
        {
            notes.Add(FieldSharpnessNotes.NotSmooth.Say($"Widths of single stars scatter by {100 * fields.FwhmScatter:0} % about the smooth field " +
                $"where {100 * own:0.0} % are " +
                "expected: neighbors, a nebula's knots, or a field that changes faster than it can follow."));
        }

        if (unlike)
        {
            notes.Add(FieldSharpnessNotes.PatternUnlike.Say("Stars scatter too much about every pattern of tilt, curvature, astigmatism, coma and trailing " +
                $"({100 * Math.Max(fields.HfrScatter, fields.FwhmScatter):0} % in size, {Math.Sqrt(causes.Misfit):0.0} times what is expected about the " +
                "best), so none is called present or absent."));
        }

        if (told.Any(c => c is { Cause: "tilt" or "curvature", Verdict: "present" }))
        {
            notes.Add(FieldSharpnessNotes.SideNotTold.Say("One frame does not tell on which side of focus a blurred part of the sensor lies. A focus run " +
                "(focus_surface) says which edge to move and by how much."));
        }

        if (usualPx < 2)
        {
            notes.Add(FieldSharpnessNotes.Undersampled.Say($"Stars in the middle have a FWHM of {usualPx:0.0} pixels: their width rests on what is " +
                "taken off for the pixels."));
        }

        return notes;
    }

    /// <summary>Where the blur is largest, in words.</summary>
    private static string Side(SharpFields fields, double reachU, double reachV)
    {
        double At(double u, double v) => fields.Hfr(new Complex(u * reachU, v * reachV));
        double right = At(1, 0) - At(-1, 0), up = At(0, 1) - At(0, -1), most = Math.Max(Math.Abs(right), Math.Abs(up));
        var words = new List<string>();
        if (Math.Abs(up) > 0.4 * most)
        {
            words.Add(up > 0 ? "upper" : "lower");
        }

        if (Math.Abs(right) > 0.4 * most)
        {
            words.Add(right > 0 ? "right" : "left");
        }

        return words.Count > 0 ? string.Join(" ", words) : "both sides of a line";
    }

    private static Complex[] Corners(double u, double v) => [new(u, v), new(-u, v), new(u, -v), new(-u, -v)];

    private static double Square(Complex z) => (z.Real * z.Real) + (z.Imaginary * z.Imaginary);

    private static double Norm(double a, double b, double c) => Math.Sqrt((a * a) + (b * b) + (c * c));

    /// <summary>What a star's own profile is off by at half of its height (docs/stars.md), a share common to all stars.</summary>
    private static double ProfileError(double fwhmPx) => fwhmPx > 3.2 ? 0.007 : fwhmPx > 2.4 ? 0.015 : 0.03;

    private static void Check(FieldSharpnessRequest request)
    {
        int n = request.X.Length;
        foreach (double[] column in new[] { request.Y, request.Hfr, request.HfrUncertainty, request.Fwhm, request.FwhmUncertainty, request.RadialEllipticity,
            request.CrossEllipticity, request.EllipticityUncertainty, request.Sky, request.Snr, request.Flags })
        {
            if (column.Length != n)
            {
                throw new InputException("field-sharpness.columns", $"A column holds {column.Length} values where x has {n}; hand over one of each " +
                    "for every star.",
                    "stars");
            }
        }
    }
}
