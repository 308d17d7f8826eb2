using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Alignment;

/// <summary>The alignment of a telescope from a star out of focus, on one side of focus or on both.</summary>
public static class AlignmentMeasurement
{
    // By how many of its standard uncertainties a vector must stand out of zero: by chance one in 90 does (two components, exp(-k^2 / 2)).
    private const double Told = 3;

    private const double FlippedBetter = 0.5, SameSideFrom = 1.5;

    /// <summary>Measures the alignment.</summary>
    /// <exception cref="InputException">Not one or two images, a value out of range, shadows of a hand that contradict each other.</exception>
    /// <exception cref="CannotMeasureException">In focus, cut by the frame's edge, saturated, both images on one side.</exception>
    [Measurement("alignment", "Alignment")]
    public static AlignmentResult Measure(AlignmentRequest request, RunContext context)
    {
        Check(request);
        context.Report(0.05, "finding the star");
        List<Note> notes = [];
        DiscCutout cutout = DiscCutout.Make(request, notes);
        int[] signs = request.Frames.Count == 2 ? [-1, 1] : request.Side == FocusSide.Outside ? [1, 1] : [-1, -1];
        var team = new Team(context.Threads, context.Cancel);
        PairState start = Signed(cutout.Start, signs);
        context.Report(0.15, "fitting the disc");
        using DiscFit fit = DiscFit.Make(request, cutout, start.Copy(), team);
        if (cutout.Count == 2 && fit.ChiSquared > SameSideFrom)
        {
            RefuseSameSide(request, cutout, start, fit, team);
        }

        context.Report(0.85, "tracing rings");
        List<AlignmentRing> rings = RingTracing.Of(fit, cutout, team);
        return Result(request, cutout, fit, rings, notes);
    }

    private static AlignmentResult Result(AlignmentRequest request, DiscCutout cutout, DiscFit fit, List<AlignmentRing> rings, List<Note> notes)
    {
        Matrix<double> air = AirComa.Of(request, cutout, fit), covariance = fit.Covariance + air;
        Vector<double> values = DiscCircles.Values(fit);
        Plane Shift(bool offset) => Plane.Of(covariance, values, DiscCircles.Decentre(fit, 0, 0, offset: offset),
            DiscCircles.Decentre(fit, 0, 1, offset: offset));
        Plane all = Shift(offset: true), byComa = Shift(offset: false);
        double blur = DiscCircles.BlurRadiusUm(fit, 0), scale = request.ScaleUncertainty;
        int n = fit.Fit.Unknowns.Count;
        bool obstructed = request.Pupil.Obstruction > 0;

        // Toward +x of the first image: outside of focus the pupil stands upside down.
        double upright = fit.State.DefocusNm[0] < 0 ? 1 : -1;
        Vector<double> Unit(int at, double value = 1) => Vector<double>.Build.Dense(n + 3, i => i == at ? value : 0);
        Plane offset = Plane.Of(covariance, values, Unit(n, upright), Unit(n + 1, upright));
        Plane coma = Plane.Of(covariance, values, Unit(DiscCircles.At(8)), Unit(DiscCircles.At(7)));
        Measured size = coma.Length("nm", scale);
        double waves = size.Value / fit.Optics.MeanWavelengthNm;
        bool comaTold = byComa.Significance > Told, offsetTold = obstructed && offset.Significance > Told;
        double ratio = request.FocalRatio;
        double perNm = 32 * Math.Pow(ratio, 3) * DiscCircles.SeidelComa * 1e-6;
        Measured axis = request.Paraboloid ? new Measured(perNm * size.Value, perNm * size.Uncertainty, "mm") : Measured.None("mm");
        double turn = 180 * 60 / Math.PI / request.FocalLengthMm;
        double hour = Clock(request, byComa.Angle);
        AlignmentImage[] images = [.. Enumerable.Range(0, cutout.Count).Select(k => Image(request, cutout, fit, k))];
        new AlignmentJudgment(request, cutout, fit, notes).Say(rings, comaTold, !double.IsNaN(hour), Math.Max(all.Size, byComa.Size) / blur);
        string[] doubts = [.. notes.Where(x => x.Level == NoteLevel.Doubt).Select(x => x.Text)];
        Quantity Claimed(QuantityDefinition kind, Measured value) => kind.Of(value, value.Uncertainty, fit.Optics.MeanWavelengthNm) with
        {
            Count = cutout.Count,
            Counted = "images",
            Doubts = doubts,
        };
        Measured share = byComa.Over(blur, scale);
        return new AlignmentResult
        {
            Decentre = all.Over(blur, scale),
            DecentreLength = all.Length("um", scale),
            DecentrePixels = all.Over(cutout.FramePitchUm, 0) with { Unit = "pix" },
            DecentreX = all.AlongX("um", scale),
            DecentreY = all.AlongY("um", scale),
            Direction = all.Direction,
            ComaDecentre = share,
            ComaDecentreX = byComa.AlongX("um", scale),
            ComaDecentreY = byComa.AlongY("um", scale),
            ComaDirection = byComa.Direction,
            Coma = size,
            ComaX = coma.AlongX("nm", scale),
            ComaY = coma.AlongY("nm", scale),
            ComaCovariance = [.. new[] { (8, 8), (8, 7), (7, 7) }.Select(p => fit.Covariance[DiscCircles.At(p.Item1), DiscCircles.At(p.Item2)])],
            ComaAirNm = Math.Sqrt(air[DiscCircles.At(8), DiscCircles.At(8)]),
            ComaStrehl = Optics.Strehl.FromFunction(
                (rho, t) => waves * Math.Sqrt(8) * ((3 * rho * rho * rho) - (2 * rho * TiltOfComa(fit.Optics.Shape.Obstruction))) * Math.Cos(t),
                fit.Optics.Shape.Obstruction),
            OffsetX = obstructed ? offset.AlongX("", scale) : Measured.None(""),
            OffsetY = obstructed ? offset.AlongY("", scale) : Measured.None(""),
            Obstruction = obstructed ? new Measured(fit.Optics.Shape.Obstruction, Math.Sqrt(covariance[n + 2, n + 2]), "") : Measured.None(""),
            AxisDistance = axis,
            MirrorTurn = request.Paraboloid ? new Measured(turn * axis.Value, turn * axis.Uncertainty, "arcmin") : Measured.None("arcmin"),
            ComaTold = comaTold,
            OffsetTold = offsetTold,
            ClockHour = hour,
            SignalToNoise = cutout.SignalToNoise.Take(cutout.Count).Min(),
            WavelengthNm = fit.Optics.MeanWavelengthNm,
            FocalRatio = ratio,
            ChiSquared = fit.ChiSquared,
            Images = images,
            Rings = rings,
            Decided = doubts.Length == 0,
            Quantities = [Claimed(AlignmentQuantities.Decentre, share), Claimed(AlignmentQuantities.Coma, size)],
            Notes = [.. notes.OrderByDescending(x => x.Level)],
        };
    }

    // The tilt of coma with the least RMS over a ring, over that of the full circle: 2 (1 + e^2 + e^4) / (3 (1 + e^2)) of W131 (Mahajan 1981).
    private static double TiltOfComa(double e) => (1 + (e * e) + Math.Pow(e, 4)) / (1 + (e * e));

    private static AlignmentImage Image(AlignmentRequest request, DiscCutout cutout, DiscFit fit, int k)
    {
        int w = cutout.Data.Window, b = cutout.Binning;
        (double ox, double oy) = DiscCircles.Middle(fit, k, 1);
        double e = fit.Optics.Shape.Obstruction;
        Vector<double> values = DiscCircles.Values(fit);
        double Shift(int axis) => DiscCircles.Decentre(fit, k, axis) * values / fit.Optics.PitchUm;
        (double OuterX, double OuterY) = cutout.InFrame(k, ox, oy);
        (double Ellipticity, double AngleDeg) = DiscCircles.Ellipse(fit, k);
        float[] residual = fit.Fit.Residuals[0][k];
        float root = cutout.Count == 1 ? MathF.Sqrt(2) : 1;
        FocusSide side = request.Frames.Count == 2 ? (k == 0 ? FocusSide.Inside : FocusSide.Outside) : request.Side;
        return new AlignmentImage(request.Frames[k].Name, side, cutout.Origins[k].X, cutout.Origins[k].Y, b, Square(cutout.Data.Electrons[k], w),
            Square(fit.Fit.ModelElectrons(0, k), w), Square([.. residual.Select(r => r * root)], w), fit.State.DefocusNm[k] / fit.Optics.MeanWavelengthNm,
            DiscCircles.BlurRadiusUm(fit, k) / cutout.FramePitchUm, OuterX, OuterY, b * DiscCircles.Radius(fit, k, 1), Ellipticity, AngleDeg,
            OuterX + (b * Shift(0)), OuterY + (b * Shift(1)), e > 0 ? b * DiscCircles.Radius(fit, k, e) : 0);
    }

    private static float[,] Square(float[] values, int w)
    {
        float[,] square = new float[w, w];
        Buffer.BlockCopy(values, 0, square, 0, w * w * sizeof(float));
        return square;
    }

    private static void RefuseSameSide(AlignmentRequest request, DiscCutout cutout, PairState start, DiscFit fit, Team team)
    {
        using DiscFit other = DiscFit.Make(request, cutout, Signed(start, [-1, -1]), team);
        using DiscFit beyond = DiscFit.Make(request, cutout, Signed(start, [1, 1]), team);
        if (Math.Min(other.ChiSquared, beyond.ChiSquared) - 1 < FlippedBetter * (fit.ChiSquared - 1))
        {
            throw new CannotMeasureException("alignment.same-side",
                "Both images look as if taken on the same side of focus. Give one image alone, or one with the sensor nearer to the objective than best "
                + "focus and one farther away.", request.Frames[1].Name);
        }
    }

    private static PairState Signed(PairState start, int[] signs)
    {
        PairState signed = start.Copy();
        for (int k = 0; k < 2; k++)
        {
            signed.DefocusNm[k] = signs[k] * Math.Abs(signed.DefocusNm[k]);
        }

        return signed;
    }

    // From a direction in the first image to the hour on a clock seen along the tube: top is 12, right is 3.
    private static double Clock(AlignmentRequest request, double directionDeg)
    {
        if (double.IsNaN(request.TopDeg) || double.IsNaN(request.RightDeg))
        {
            return double.NaN;
        }

        double hand = Turned(request.RightDeg - request.TopDeg) > 0 ? 1 : -1;
        double hour = hand * Turned(directionDeg - request.TopDeg) / 30;
        hour = ((hour % 12) + 12) % 12;
        return hour < 0.5 ? 12 : hour;
    }

    private static double Turned(double deg) => deg - (360 * Math.Round(deg / 360));

    private static void Check(AlignmentRequest request)
    {
        FieldRules.Require(request);
        request.Pupil.RequireValid();
        if (request.Frames.Count is not (1 or 2))
        {
            throw new InputException("alignment.frames",
                $"{request.Frames.Count} images were given. Give one, or one from each side of focus, inside first.", "frames");
        }

        if (request.Frames.Count == 2 && request.Frames[0].Width == request.Frames[1].Width && request.Frames[0].Height == request.Frames[1].Height
            && request.Frames[0].Pixels.Bytes.Span.SequenceEqual(request.Frames[1].Pixels.Bytes.Span))
        {
            throw new CannotMeasureException("alignment.same-image",
                $"{request.Frames[0].Name} and {request.Frames[1].Name} hold the very same pixels. Give one image, or one from each side of focus.",
                request.Frames[1].Name);
        }

        InputException.RequireRange(request.FocalRatio, 1.5, 100, "focal_length / aperture", "");
        if (double.IsNaN(request.TopDeg) != double.IsNaN(request.RightDeg))
        {
            throw new InputException("alignment.hand",
                "Give both top and right, the directions in which the shadow of a hand falls in the first image, or neither: one alone does not tell "
                + "whether the image is mirrored.", "top");
        }

        double between = Math.Abs(Turned(request.RightDeg - request.TopDeg));
        if (between is < 60 or > 120)
        {
            throw new InputException("alignment.hand",
                $"top and right are {between:0} degrees apart; hands before the top and before the right-hand edge throw shadows that lie about 90 "
                + "degrees apart. Look again.", "right");
        }
    }
}
