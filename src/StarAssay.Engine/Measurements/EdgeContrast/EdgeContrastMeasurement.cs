using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.EdgeContrast;

/// <summary>Sharpness and darkness at a bright edge: edge spread, MTF, glare, ghosts.</summary>
public static class EdgeContrastMeasurement
{
    private const int Groups = 16;

    // More of the bright side than this at one highest value is clipped.
    private const double MostClipped = 0.002, MostAtTop = 0.03;

    // What bins, window and the place of the edge leave in the MTF (docs/accuracy.md), and of the width.
    private const double MtfFloor = 0.0035, WidthFloor = 0.009;

    // How well pitch and focal length are known, a share (common practice, no source).
    private const double ScaleKnown = 1e-3;

    // How well the light of the bright side is known, a share: at an edge, and round a patch (docs/accuracy.md).
    private const double EdgeLevel = 0.008, PatchLevel = 0.0042;

    private const double LeastTransfer = 0.2;

    /// <summary>Measures the edge.</summary>
    /// <exception cref="InputException">A value out of range, a phase angle for what is not the Moon.</exception>
    /// <exception cref="CannotMeasureException">No edge, a clipped one, one parallel to the pixels' rows, too little of it.</exception>
    [Measurement("edge_contrast", "Edge contrast")]
    public static EdgeContrastResult Measure(EdgeContrastRequest request, RunContext context)
    {
        FieldRules.Require(request);
        Frame frame = request.Frame ?? throw new InputException("edge-contrast.frame", "No frame was given. Give one with a bright edge.", "frame");
        frame.RequireConsistent();
        if (request.Subject != EdgeSubject.Moon && double.IsFinite(request.PhaseAngleDeg))
        {
            throw new InputException("edge-contrast.phase", "phase_angle belongs to the Moon. Say subject moon, or leave it out.", "phase_angle");
        }

        context.Report(0.05, "finding the edge");
        EdgeFinding finding = EdgeFinding.Of(frame, context);
        context.Report(0.3, "following it");
        (EdgeStrip strip, double width) = Follow(finding, context);
        context.Report(0.6, "edge spread and transfer");
        var analysis = EdgeAnalysis.Of(request, finding, strip, width, Groups, context.Cancel);
        context.Report(0.85, "light in the dark");
        return Tell(request, finding, strip, analysis);
    }

    private static (EdgeStrip Strip, double Width) Follow(EdgeFinding finding, RunContext context)
    {
        // A narrow strip tells how wide the edge is; the one that is measured reaches as far as its wings.
        double most = 0.25 * Math.Min(finding.Frame.Width, finding.Frame.Height);
        most = finding.Arc.Curvature < 0 ? Math.Min(most, 0.6 * finding.Arc.Radius) : Math.Min(most, 0.8 * finding.Arc.Radius);
        double width = 3, reach = Math.Min(24, most);
        EdgeStrip strip = EdgeStrip.Cut(finding, reach, context);
        RefuseClipped(finding, strip);
        for (int turn = 0; turn < 5; turn++)
        {
            context.Cancel.ThrowIfCancellationRequested();
            strip.Level(width);
            EdgeSpread mean = Spread(strip, strip.Reach);
            double seen = mean.Between(0.9, 0.1);
            width = double.IsFinite(seen) ? Math.Clamp(seen, 0.6, strip.Reach / 2) : width;
            strip.Place(mean, width);
            double wanted = Math.Max(12, Math.Min(Math.Clamp(14 * width, 20, 160), most));
            if (turn == 1 && Math.Abs(wanted - strip.Reach) > 2)
            {
                strip = EdgeStrip.Cut(finding, wanted, context);
                strip.Level(width);
                strip.Place(Spread(strip, strip.Reach), width);
            }
        }

        strip.Level(width);
        EdgeSpread last = Spread(strip, strip.Reach);
        if (last.Filled < 0.95)
        {
            throw new CannotMeasureException("edge-contrast.parallel",
                $"The edge in {finding.Frame.Name} lies so nearly along the pixels' rows or diagonals that it is seen at {100 * last.Filled:0} % of the "
                + "places within a pixel only. Turn the camera so that the edge stands 3 to 10 degrees off the rows.", finding.Frame.Name);
        }

        return (strip, width);
    }

    private static EdgeSpread Spread(EdgeStrip strip, double reach)
    {
        EdgeSpread[] groups = EdgeSpread.Groups(strip, reach, Groups);
        return groups.Length > 0 ? EdgeSpread.Of(groups) : throw new CannotMeasureException("edge-contrast.short",
            "No part of the edge has a bright and a dark side that are even enough. Choose a cleaner edge.");
    }

    private static void RefuseClipped(EdgeFinding finding, EdgeStrip strip)
    {
        double limit = finding.Frame.SaturationAdu, share = strip.Clipped(limit, out double highest);
        if (share > (double.IsFinite(limit) ? MostClipped : MostAtTop))
        {
            throw new CannotMeasureException("edge-contrast.clipped",
                $"{100 * share:0.0} % of the bright side of the edge in {finding.Frame.Name} are clipped at {highest:0} ADU: over-exposed, the edge is "
                + "moved and sharpened. Take it again with a third of the exposure.", finding.Frame.Name);
        }
    }

    private static EdgeContrastResult Tell(EdgeContrastRequest request, EdgeFinding finding, EdgeStrip strip, EdgeAnalysis analysis)
    {
        Frame frame = finding.Frame;
        double um = request.PitchUm, mm = um / 1000, scale = PixelScale.ArcsecPerPx(request.PitchUm, request.FocalLengthMm);
        int[] good = [.. Enumerable.Range(0, strip.Pieces).Where(k => strip.Good[k])];
        double zero = request.BiasLevelAdu, dark = good.Average(k => strip.Dark[k]);
        double step = analysis.Whole.Step0 * good.Average(k => strip.Bright[k] - strip.Dark[k]);
        double light = step + (double.IsFinite(zero) ? dark - zero : 0);
        DarkSide side = DarkSide.Of(finding, Math.Max(6, 3 * analysis.Whole.Width), zero, light);
        bool known = double.IsFinite(zero), patch = finding.Arc.Curvature < 0 && EdgeFinding.Closed(finding.Arc, finding.Along);
        double distance = request.GlareDistanceArcmin * 60 / scale;
        double unsure = Math.Sqrt((EdgeLevel * EdgeLevel) + (analysis.StepUnsure * analysis.StepUnsure));
        Measured glare = known ? WithShare(side.At(distance), unsure) : Measured.None("");
        (double cx, double cy) = finding.Arc.Center;
        Measured index = known && patch ? WithShare(side.Within(cx, cy, 0.4 * finding.Arc.Radius), PatchLevel) : Measured.None("");
        List<EdgeGhost> ghosts = patch ? [] : side.Ghosts();
        Measured width = analysis.Width(um), onSky = new(width.Value / um * scale, width.Uncertainty / um * scale, "arcsec");
        Measured half = analysis.OpticsFalls(1 / mm), recorded = analysis.RecordedFalls(1 / mm);
        var judgment = new EdgeJudgment(request, finding, strip, analysis, scale);
        List<Note> notes = judgment.Notes(glare, distance, patch, ghosts);
        string[] doubts = [.. notes.Where(n => n.Level == NoteLevel.Doubt).Select(n => n.Text)];
        var quantities = new List<Quantity>();
        void Claim(QuantityDefinition kind, Measured value, double random, double wavelength = double.NaN)
        {
            if (double.IsFinite(value.Value) && double.IsFinite(value.Uncertainty))
            {
                quantities.Add(kind.Of(value, random, wavelength) with { Doubts = doubts });
            }
        }

        Claim(EdgeContrastQuantities.Width, width, analysis.WidthRandom * um, request.WavelengthNm);
        Claim(EdgeContrastQuantities.Mtf50, half, analysis.OpticsFallsRandom / mm, request.WavelengthNm);
        Claim(EdgeContrastQuantities.EdgeGlare, glare, glare.Uncertainty);
        Claim(EdgeContrastQuantities.GlareIndex, index, index.Uncertainty);
        double[,] picture = Picture(finding, out double cell);
        bool straight = finding.Arc.Radius > 50 * strip.Length * strip.Pieces;
        EdgeSpread spread = analysis.Spread;
        return new EdgeContrastResult
        {
            Width = width,
            WidthOnSky = onSky,
            Mtf50 = half,
            RecordedMtf50 = recorded,
            MtfQuarterNyquist = analysis.MtfAt(0.125),
            MtfHalfNyquist = analysis.MtfAt(0.25),
            Frequency = EdgeTransfer.Frequencies,
            Mtf = analysis.Mtf,
            MtfUncertainty = analysis.MtfUncertainty,
            PixelMtf = analysis.Pixel,
            SeeingMtf = analysis.Air,
            OpticsMtf = analysis.Optics,
            OpticsMtfUncertainty = analysis.OpticsUncertainty,
            PerfectMtf = analysis.Perfect,
            DistancePx = [.. spread.Value.Select((_, i) => spread.At(i))],
            EdgeSpread = [.. spread.Value.Select(v => v / analysis.Whole.Step0)],
            LineSpread = [.. analysis.Whole.Line.Select(v => v / analysis.Whole.Step0)],
            SurfaceProfile = [.. spread.Value.Select((_, i) => analysis.Whole.SurfaceAt(-spread.At(i)) / analysis.Whole.Step0)],
            NormalDeg = Math.IEEERemainder(finding.Arc.Angle * 180 / Math.PI, 360),
            RadiusPx = straight ? double.PositiveInfinity : finding.Arc.Radius,
            CenterX = straight ? double.NaN : cx,
            CenterY = straight ? double.NaN : cy,
            LengthPx = good.Length * strip.Length,
            RoughnessPx = strip.Roughness,
            LeftRoughnessPx = strip.LeftRoughness,
            EdgeX = [.. good.Select(k => finding.Arc.At(strip.Middle(k), strip.Shift(strip.Middle(k))).X)],
            EdgeY = [.. good.Select(k => finding.Arc.At(strip.Middle(k), strip.Shift(strip.Middle(k))).Y)],
            BrightAdu = step,
            DarkAdu = known ? dark - zero : dark,
            EdgeGlare = glare,
            GlareDistanceArcmin = request.GlareDistanceArcmin,
            GlareIndex = index,
            GlareRadiusPx = known ? side.Distance : [],
            Glare = known ? side.Light : [],
            GlareUncertainty = known ? side.Uncertainty : [],
            Ghosts = ghosts,
            Columns = frame.Width,
            Rows = frame.Height,
            Picture = picture,
            PictureCellPx = cell,
            PitchUm = request.PitchUm,
            PixelScaleArcsecPerPx = scale,
            Quantities = quantities,
            Notes = notes,
        };
    }

    private static Measured WithShare(Measured value, double share) =>
        new(value.Value, Math.Sqrt((value.Uncertainty * value.Uncertainty) + Math.Pow(share * value.Value, 2)), value.Unit);

    private static double[,] Picture(EdgeFinding finding, out double cell)
    {
        int w = finding.Frame.Width, h = finding.Frame.Height, side = Math.Max(1, (int)Math.Ceiling(Math.Max(w, h) / 240.0));
        cell = side;
        double[,] picture = new double[h / side, w / side];
        for (int j = 0; j < h / side; j++)
        {
            for (int i = 0; i < w / side; i++)
            {
                double sum = 0;
                int count = 0;
                for (int p = 0; p < side * side; p++)
                {
                    float v = finding.Image[(((j * side) + (p / side)) * w) + (i * side) + (p % side)];
                    (sum, count) = float.IsFinite(v) ? (sum + v, count + 1) : (sum, count);
                }

                picture[j, i] = count > 0 ? sum / count : double.NaN;
            }
        }

        return picture;
    }

    /// <summary>Whether an MTF is far enough above zero to be divided by.</summary>
    internal static bool Serves(double transfer) => transfer > LeastTransfer;

    /// <summary>Adds what the method itself leaves, and how well lengths are known.</summary>
    internal static double WithFloor(double random, double value, bool width) =>
        Math.Sqrt((random * random) + Math.Pow(width ? WidthFloor * value : MtfFloor, 2) + (width ? Math.Pow(ScaleKnown * value, 2) : 0));
}
