using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.EdgeContrast;

/// <summary>The pixels on both sides of the edge, cut into pieces along it, each with its own levels.</summary>
internal sealed class EdgeStrip
{
    /// <summary>Width of a bin of the edge spread, pixels: ISO 12233 has a quarter.</summary>
    public const double Bin = 0.25;

    // Pieces are about so long; more than this many are not needed.
    private const double PieceLength = 16;
    private const int MostPieces = 400, LeastPieces = 4;

    // From this chi squared of the pieces' places the edge is followed.
    private const double FollowFrom = 3;

    private readonly EdgeFinding finding;
    private readonly List<(float S, float T, float Value)>[] pixels;
    private readonly double first, length;
    private readonly bool closed;
    private double[] bow = [0, 0, 0];

    private EdgeStrip(EdgeFinding finding, double reach, double first, double length, int pieces)
    {
        (this.finding, Reach, this.first, this.length) = (finding, reach, first, length);
        closed = EdgeFinding.Closed(finding.Arc, finding.Along);
        pixels = [.. Enumerable.Range(0, pieces).Select(_ => new List<(float, float, float)>())];
        Offset = new double[pieces];
        OffsetVariance = new double[pieces];
        Bright = new double[pieces];
        Dark = new double[pieces];
        Good = new bool[pieces];
    }

    /// <summary>Half the width of the strip, pixels.</summary>
    public double Reach { get; }

    /// <summary>Distance of the edge from the smooth curve, by piece.</summary>
    public double[] Offset { get; }

    /// <summary>Variance of that.</summary>
    public double[] OffsetVariance { get; }

    /// <summary>Level of the bright side, ADU.</summary>
    public double[] Bright { get; }

    /// <summary>Level of the far dark side, ADU.</summary>
    public double[] Dark { get; }

    /// <summary>Pieces that serve.</summary>
    public bool[] Good { get; }

    /// <summary>Whether the edge is followed piece by piece.</summary>
    public bool Follows { get; private set; }

    /// <summary>RMS of the pieces' places about circle or line, their noise taken off.</summary>
    public double Roughness { get; private set; }

    /// <summary>The same within a piece, of quarters of it.</summary>
    public double LeftRoughness { get; private set; }

    /// <summary>How many pieces.</summary>
    public int Pieces => pixels.Length;

    /// <summary>Length along the edge of a piece's middle.</summary>
    public double Middle(int piece) => first + ((piece + 0.5) * length);

    /// <summary>Length of a piece.</summary>
    public double Length => length;

    /// <summary>Cuts a strip out of the frame.</summary>
    /// <exception cref="CannotMeasureException">Too little of the edge lies in the frame.</exception>
    public static EdgeStrip Cut(EdgeFinding finding, double reach, RunContext context)
    {
        double[] along = finding.Along;
        double from = along.Min(), to = along.Max();
        int pieces = Math.Clamp((int)((to - from) / PieceLength), 1, MostPieces);
        var strip = new EdgeStrip(finding, reach, from, (to - from) / pieces, pieces);
        strip.Gather(context);
        strip.Seed();
        if (strip.Good.Count(g => g) < LeastPieces)
        {
            throw new CannotMeasureException("edge-contrast.short",
                $"Only {strip.Good.Count(g => g) * strip.length:0} pixels of the edge in {finding.Frame.Name} have {reach:0} pixels of frame on both "
                + "sides. Put the edge through the middle of the frame.", finding.Frame.Name);
        }

        return strip;
    }

    /// <summary>Distance from the edge as followed.</summary>
    public double Shift(double along)
    {
        double smooth = Smooth(along);
        if (!Follows)
        {
            return smooth;
        }

        double at = ((along - first) / length) - 0.5;
        int i = (int)Math.Floor(at), n = Pieces - 1;
        int a = Known(Math.Clamp(i, 0, n)), b = Known(Math.Clamp(i + 1, 0, n));
        double share = Math.Clamp(at - i, 0, 1);
        return smooth + ((1 - share) * Offset[a]) + (share * Offset[b]);
    }

    private double Unit(double along) => (2 * (along - first) / (length * Pieces)) - 1;

    private double Smooth(double along)
    {
        double x = Unit(along);
        return bow[0] + (x * (bow[1] + (x * bow[2])));
    }

    /// <summary>Pixels of a piece: distance from the edge, and light with the far dark 0 and the bright side 1.</summary>
    public IEnumerable<(double S, double T, double Value)> Pixels(int piece)
    {
        double step = Bright[piece] - Dark[piece];
        foreach ((float s, float t, float value) in pixels[piece])
        {
            yield return (s - Shift(t), t, (value - Dark[piece]) / step);
        }
    }

    /// <summary>Share of clipped pixels on the bright side.</summary>
    public double Clipped(double limit, out double highest)
    {
        float[] bright = [.. pixels.SelectMany(p => p).Where(p => p.S < -1).Select(p => p.Value)];
        highest = bright.Length > 0 ? bright.Max() : double.NaN;
        float top = (float)highest;
        int at = double.IsFinite(limit) ? bright.Count(v => v >= limit) : bright.Count(v => v == top);
        return bright.Length > 0 ? at / (double)bright.Length : 0;
    }

    /// <summary>Levels of each piece, beyond some distances from the edge.</summary>
    public void Level(double width)
    {
        for (int k = 0; k < Pieces; k++)
        {
            List<double> bright = [], dark = [];
            foreach ((float s, float t, float value) in pixels[k])
            {
                double at = s - Shift(t);
                if (at < -(1 + (1.5 * width)) && at > -(4 + (5 * width)))
                {
                    bright.Add(value);
                }
                else if (at > 0.6 * Reach)
                {
                    dark.Add(value);
                }
            }

            bool serves = bright.Count >= 12 && dark.Count >= 12;
            (Bright[k], Dark[k]) = serves ? (Mean(bright), Mean(dark)) : (double.NaN, double.NaN);

            // A crater's shadow or what stands before the edge: no step there.
            Good[k] = Good[k] && serves && Bright[k] - Dark[k] > 0.2 * (finding.Bright - finding.Dark);
        }
    }

    /// <summary>Moves the whole edge towards the dark.</summary>
    public void Move(double pixels) => bow[0] += pixels;

    /// <summary>Places of the pieces by laying the mean edge over each; says whether it must be followed.</summary>
    public void Place(EdgeSpread mean, double width)
    {
        double[] correction = new double[Pieces], quarters = new double[Pieces];
        for (int k = 0; k < Pieces; k++)
        {
            if (!Good[k])
            {
                continue;
            }

            double[] top = new double[4], bottom = new double[4];
            double squares = 0;
            int count = 0, steep = 0;
            foreach ((double s, double t, double value) in Pixels(k))
            {
                if (Math.Abs(s) < 2 + (1.5 * width))
                {
                    (double expected, double slope) = mean.At(s);
                    int q = Math.Clamp((int)(4 * (((t - first) / length) - k)), 0, 3);
                    top[q] -= slope * (value - expected);
                    bottom[q] += slope * slope;
                    steep++;
                }
                else if (Math.Abs(s) < 8 + (5 * width))
                {
                    // Noise by what lies beside the flank: on it a rough edge scatters as well.
                    (double expected, _) = mean.At(s);
                    squares += Math.Pow(value - expected, 2);
                    count++;
                }
            }

            double all = bottom.Sum();
            if (count < 8 || steep < 8 || !(all > 0))
            {
                Good[k] = false;
                continue;
            }

            correction[k] = Math.Clamp(top.Sum() / all, -2, 2);
            double variance = squares / count;
            OffsetVariance[k] = variance / all;
            double[] places = [.. Enumerable.Range(0, 4).Where(q => bottom[q] > 0.05 * all).Select(q => top[q] / bottom[q])];
            double noise = Enumerable.Range(0, 4).Where(q => bottom[q] > 0.05 * all).Select(q => variance / bottom[q]).DefaultIfEmpty().Average();
            double average = places.Length > 1 ? places.Average() : 0;
            quarters[k] = places.Length > 1 ? (places.Sum(p => (p - average) * (p - average)) / (places.Length - 1)) - noise : 0;
        }

        int[] good = [.. Enumerable.Range(0, Pieces).Where(k => Good[k])];
        if (good.Length < LeastPieces)
        {
            return;
        }

        // What the first circle left, smooth along the edge, then each piece's rest. Wild ones are half hidden behind something.
        foreach (int k in good)
        {
            Offset[k] = Shift(Middle(k)) + correction[k];
        }

        Bend(good);
        foreach (int k in good)
        {
            Offset[k] -= Smooth(Middle(k));
        }

        (double middle, double spread) = Robust.MedianAndSigma([.. good.Select(k => Offset[k])]);
        foreach (int k in good.Where(k => Math.Abs(Offset[k] - middle) > 6 * Math.Max(spread, 0.05)))
        {
            Good[k] = false;
        }

        good = [.. good.Where(k => Good[k])];
        double[] chi = [.. good.Select(k => Math.Pow(Offset[k], 2) / Math.Max(OffsetVariance[k], 1e-8))];
        Follows |= good.Length > 0 && Robust.Median(chi) / 0.455 > FollowFrom;
        double noiseSquared = good.Average(k => OffsetVariance[k]);
        Roughness = Math.Sqrt(Math.Max(0, good.Average(k => Offset[k] * Offset[k]) - noiseSquared));
        LeftRoughness = Math.Sqrt(Math.Max(0, Robust.Median(good.Select(k => quarters[k]))));
    }

    // Parabola through the places, alike for all pieces; round a whole circle only its mean.
    private void Bend(int[] good)
    {
        int n = closed ? 1 : 3;
        (double _, double spread) = Robust.MedianAndSigma([.. good.Select(k => Offset[k] - Smooth(Middle(k)))]);
        double[] weight = [.. good.Select(_ => 1.0)];
        for (int turn = 0; turn < 8; turn++)
        {
            var normal = Matrix<double>.Build.Dense(n, n);
            var side = Vector<double>.Build.Dense(n);
            for (int i = 0; i < good.Length; i++)
            {
                double x = Unit(Middle(good[i]));
                double[] row = [1, x, x * x];
                for (int a = 0; a < n; a++)
                {
                    side[a] += weight[i] * row[a] * Offset[good[i]];
                    for (int b = 0; b < n; b++)
                    {
                        normal[a, b] += weight[i] * row[a] * row[b];
                    }
                }
            }

            if (PositiveDefinite.Inverse(normal) is not { } inverse)
            {
                return;
            }

            double[] found = [.. inverse * side];
            bow = [found[0], n > 1 ? found[1] : 0, n > 1 ? found[2] : 0];
            double reach = 5 * Math.Max(spread, 0.02);
            weight = [.. good.Select(k => Math.Pow(Math.Max(0, 1 - Math.Pow((Offset[k] - Smooth(Middle(k))) / reach, 2)), 2))];
            (_, spread) = Robust.MedianAndSigma([.. good.Select(k => Offset[k] - Smooth(Middle(k)))]);
        }
    }

    private static double Mean(List<double> values)
    {
        (double middle, double sigma) = Robust.MedianAndSigma([.. values]);
        double reach = 4 * Math.Max(sigma, 1e-9);
        return values.Where(v => Math.Abs(v - middle) <= reach).DefaultIfEmpty(middle).Average();
    }

    private int Known(int piece)
    {
        for (int away = 0; away < Pieces; away++)
        {
            if (piece - away >= 0 && Good[piece - away])
            {
                return piece - away;
            }

            if (piece + away < Pieces && Good[piece + away])
            {
                return piece + away;
            }
        }

        return piece;
    }

    private void Gather(RunContext context)
    {
        int w = finding.Frame.Width, h = finding.Frame.Height;
        CircleArc arc = finding.Arc;
        var rows = new List<(float S, float T, float Value)>[h];
        double margin = Reach + 4;
        Parallel.For(0, h, context.Parallel, y =>
        {
            var row = new List<(float, float, float)>();
            for (int x = 0; x < w; x++)
            {
                float value = finding.Image[(y * w) + x];
                double s = arc.Distance(x, y);
                if (Math.Abs(s) < margin && float.IsFinite(value))
                {
                    double t = arc.Along(x, y);
                    if (t >= first && t < first + (length * Pieces))
                    {
                        row.Add(((float)s, (float)t, value));
                    }
                }
            }

            rows[y] = row;
        });
        foreach ((float s, float t, float value) in rows.SelectMany(r => r))
        {
            pixels[Math.Clamp((int)((t - first) / length), 0, Pieces - 1)].Add((s, t, value));
        }

        // Pieces that the frame cuts off are left out.
        int[] inDark = [.. pixels.Select(p => p.Count(q => q.S > 0))];
        double dark = Robust.Median(inDark.Select(n => (double)n)), bright = Robust.Median(pixels.Select((p, k) => (double)(p.Count - inDark[k])));
        for (int k = 0; k < Pieces; k++)
        {
            Good[k] = inDark[k] > 0.75 * dark && pixels[k].Count - inDark[k] > 0.75 * bright;
        }
    }

    // First places: medians of the points found.
    private void Seed()
    {
        var near = new List<double>[Pieces];
        for (int i = 0; i < finding.Along.Length; i++)
        {
            int k = Math.Clamp((int)((finding.Along[i] - first) / length), 0, Pieces - 1);
            (near[k] ??= []).Add(finding.Distance[i]);
        }

        double count = Robust.Median(near.Where(n => n is not null).Select(n => (double)n.Count));
        for (int k = 0; k < Pieces; k++)
        {
            Good[k] &= near[k] is { } points && points.Count > 0.35 * count;
            Offset[k] = near[k] is { } some ? Robust.Median(some) : 0;
        }

        int[] good = [.. Enumerable.Range(0, Pieces).Where(k => Good[k])];
        if (good.Length < LeastPieces)
        {
            return;
        }

        Bend(good);
        foreach (int k in good)
        {
            Offset[k] -= Smooth(Middle(k));
        }

        // A strongly rough edge is followed from the start.
        (double _, double spread) = Robust.MedianAndSigma([.. good.Select(k => Offset[k])]);
        Follows = spread > 0.5;
    }
}
