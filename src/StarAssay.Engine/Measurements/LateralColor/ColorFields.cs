using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.LateralColor;

/// <summary>The stars of each color, and which of them are the same.</summary>
internal sealed class ColorFields
{
    private readonly LateralColorRequest request;
    private readonly FieldStars[] fields;
    private readonly double[][] sx, sy;

    private ColorFields(LateralColorRequest request, FieldStars[] fields, double[][] sx, double[][] sy)
    {
        (this.request, this.fields, this.sx, this.sy) = (request, fields, sx, sy);
    }

    /// <summary>Takes the stars that serve.</summary>
    public static ColorFields Of(LateralColorRequest request, StarMarks unfit)
    {
        int colors = request.Stars.Count, first = 0;
        var fields = new FieldStars[colors];
        double[][] sx = new double[colors][], sy = new double[colors][];
        for (int c = 0; c < colors; c++)
        {
            int[] serve = [.. Enumerable.Range(first, request.Stars[c]).Where(i => ((StarMarks)(int)request.Flags[i] & unfit) == 0
                && request.XUncertainty[i] > 0 && request.YUncertainty[i] > 0
                && double.IsFinite(request.X[i] + request.Y[i] + request.XUncertainty[i] + request.YUncertainty[i]))];
            double[] Part(double[] all) => [.. serve.Select(i => all[i])];
            fields[c] = new FieldStars
            {
                Name = request.Colors[c],
                X = Part(request.X),
                Y = Part(request.Y),
                Flux = Part(request.Flux),
                Hfr = Part(request.Hfr),
            };
            (sx[c], sy[c]) = (Part(request.XUncertainty), Part(request.YUncertainty));
            first += request.Stars[c];
        }

        return new ColorFields(request, fields, sx, sy);
    }

    /// <summary>Stars of a color that serve.</summary>
    public int Count(int color) => fields[color].X.Length;

    /// <summary>Their median half-flux radius, pixels.</summary>
    public double MedianHfr(int color) => Robust.Median(fields[color].Hfr.Where(double.IsFinite));

    /// <summary>Offsets of the stars that are in two colors, and how the one moved against the other: x, y (pixels) in the middle, turn (degrees).</summary>
    /// <remarks>Of one exposure nothing moved. Of two, the turn is taken off exactly, since it may be more than small.</remarks>
    public (StarOffset[] Stars, double[] Moved) Offsets(int color, int against)
    {
        FieldStars one = fields[color], other = fields[against];
        var options = request.OneExposure ? new FieldSetOptions { LargestShiftPx = 20, LargestTurnDeg = 0.3 } : new FieldSetOptions();
        FieldSet set = FieldSet.Match([other, one], options);
        var pairs = new List<(int One, int Other)>();
        for (int s = 0; s < set.Count; s++)
        {
            if (set.Index[0, s] >= 0 && set.Index[1, s] >= 0)
            {
                pairs.Add((set.Index[1, s], set.Index[0, s]));
            }
        }

        if (pairs.Count < LateralColorMeasurement.LeastStars)
        {
            return ([], [0, 0, 0]);
        }

        var area = new SensorArea(request.Width, request.Height);
        double middleX = area.MiddleX, middleY = area.MiddleY;
        Similarity back = request.OneExposure ? Similarity.None
            : Similarity.Fit([.. pairs.Select(p => ((one.X[p.One], one.Y[p.One]), (other.X[p.Other], other.Y[p.Other])))]);

        // The turn alone, about where the reference's middle went; the scale stays in the offsets.
        double cos = back.A / back.Scale, sin = back.B / back.Scale;
        double det = (back.A * back.A) + (back.B * back.B);
        double px = ((back.A * (middleX - back.X)) + (back.B * (middleY - back.Y))) / det;
        double py = ((back.A * (middleY - back.Y)) - (back.B * (middleX - back.X))) / det;
        var found = new StarOffset[pairs.Count];
        for (int k = 0; k < found.Length; k++)
        {
            (int i, int j) = pairs[k];
            double x = one.X[i] - px, y = one.Y[i] - py;
            double rx = (cos * x) - (sin * y) + middleX, ry = (sin * x) + (cos * y) + middleY;
            found[k] = new StarOffset(area.U(other.X[j]), area.V(other.Y[j]), rx - other.X[j], ry - other.Y[j],
                Math.Sqrt((sx[color][i] * sx[color][i]) + (sx[against][j] * sx[against][j])),
                Math.Sqrt((sy[color][i] * sy[color][i]) + (sy[against][j] * sy[against][j])), other.X[j], other.Y[j]);
        }

        return (found, [px - middleX, py - middleY, -back.TurnDeg]);
    }
}
