using StarAssay.Engine.Imaging;
using System.Numerics;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.FocusSurface;

/// <summary>One star in one frame.</summary>
/// <param name="Frame">Number of the frame.</param>
/// <param name="Star">Number of the star.</param>
/// <param name="U">Column from the middle over half the diagonal of the sensor.</param>
/// <param name="V">Row from the middle over the same.</param>
/// <param name="Size2">Squared half-flux radius, um^2.</param>
/// <param name="Relative">Relative standard uncertainty of the radius.</param>
/// <param name="Shape">Ellipticity of the moments, (a^2 - b^2) / (a^2 + b^2), in twice the direction of the long axis.</param>
/// <param name="ShapeUncertainty">Its standard uncertainty.</param>
internal readonly record struct RunPoint(int Frame, int Star, double U, double V, double Size2, double Relative, Complex Shape,
    double ShapeUncertainty);

/// <summary>The stars of a run that serve: found again in most of the frames, whole, alone and not clipped.</summary>
internal sealed class RunStars
{
    /// <summary>Fewer frames than this do not tell a curve from its blur.</summary>
    public const int LeastFrames = 5;

    // A plane with a bowl has four unknowns; the blur over the field has more, but each star brings a measurement a frame.
    private const int LeastStars = 12;

    // More add nothing: the frames' own differences rule the uncertainty.
    private const int MostStars = 600;

    private const StarMarks Unfit = StarMarks.Saturated | StarMarks.Edge | StarMarks.Blended;
    private readonly FieldSet set;

    private RunStars(FieldSet set, RunPoint[] points, double[] x, double[] y, bool[] placed)
    {
        this.set = set;
        (Points, X, Y, Placed) = (points, x, y, placed);
    }

    /// <summary>All of them, ordered by star, then by frame.</summary>
    public RunPoint[] Points { get; }

    /// <summary>Column of each star in the reference frame, pixels.</summary>
    public double[] X { get; }

    /// <summary>Row of each star, pixels.</summary>
    public double[] Y { get; }

    /// <summary>Which frames were found again.</summary>
    public bool[] Placed { get; }

    /// <summary>Why a frame was not.</summary>
    public string Reason(int frame) => set.Placements[frame].Reason;

    /// <summary>Brings the frames of a run together.</summary>
    /// <exception cref="CannotMeasureException">Too few frames or stars in common.</exception>
    public static RunStars Of(FocusSurfaceRequest request)
    {
        int frames = request.Stars.Count;
        int[] first = new int[frames];
        for (int f = 1; f < frames; f++)
        {
            first[f] = first[f - 1] + request.Stars[f - 1];
        }

        T[] Part<T>(T[] all, int f) => all[first[f]..(first[f] + request.Stars[f])];
        var fields = new FieldStars[frames];
        for (int f = 0; f < frames; f++)
        {
            fields[f] = new FieldStars
            {
                Name = f < request.Names.Count ? request.Names[f] : string.Empty,
                X = Part(request.X, f),
                Y = Part(request.Y, f),
                Flux = Part(request.Flux, f),
                Hfr = Part(request.Hfr, f),
            };
        }

        FieldSet set = FieldSet.Match(fields);
        bool[] placed = [.. set.Placements.Select(p => p.Placed)];
        int left = placed.Count(p => p);
        if (left < LeastFrames)
        {
            throw new CannotMeasureException("focus-surface.too-few-frames",
                $"Only {left} of {frames} frames show the same stars; {LeastFrames} are needed. Take a run of one field in steps that leave the stars " +
                    "visible.");
        }

        var area = new SensorArea(request.Width, request.Height);
        int least = Math.Max(4, (int)Math.Ceiling(0.6 * left));
        var points = new List<RunPoint>();
        var places = new List<(double X, double Y)>();
        foreach (int s in Enumerable.Range(0, set.Count).OrderByDescending(s => fields[set.Reference].Flux[s]))
        {
            var own = new List<RunPoint>();
            for (int f = 0; f < frames; f++)
            {
                int at = set.Index[f, s];
                if (at < 0)
                {
                    continue;
                }

                int i = first[f] + at;
                bool fit = ((StarMarks)(int)request.Flags[i] & Unfit) == 0 && request.Hfr[i] > 0 && request.HfrUncertainty[i] > 0
                    && double.IsFinite(request.Hfr[i] + request.HfrUncertainty[i]);
                if (fit)
                {
                    double size = request.Hfr[i] * request.PitchUm;
                    own.Add(new RunPoint(f, places.Count, area.U(request.X[i]), area.V(request.Y[i]),
                        size * size, request.HfrUncertainty[i] / request.Hfr[i], Shape(request, i), request.EllipticityUncertainty[i]));
                }
            }

            if (own.Count >= least && places.Count < MostStars)
            {
                points.AddRange(own);
                places.Add((fields[set.Reference].X[s], fields[set.Reference].Y[s]));
            }
        }

        if (places.Count < LeastStars)
        {
            throw new CannotMeasureException("focus-surface.too-few-stars",
                $"{places.Count} stars are whole, alone and unclipped in {least} or more frames; {LeastStars} are needed. Expose longer, take a richer " +
                    "field, or smaller steps.");
        }

        return new RunStars(set, [.. points], [.. places.Select(p => p.X)], [.. places.Select(p => p.Y)], placed);
    }

    private static Complex Shape(FocusSurfaceRequest request, int i)
    {
        double axes = 1 - request.Ellipticity[i], square = axes * axes;
        return Complex.FromPolarCoordinates((1 - square) / (1 + square), request.PositionAngleDeg[i] * Math.PI / 90);
    }

    /// <summary>Median half-flux radius of a frame's stars, um; NaN without any.</summary>
    public double Median(int frame) => Robust.Median(Points.Where(p => p.Frame == frame).Select(p => Math.Sqrt(p.Size2)));
}
