using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.EdgeContrast;

/// <summary>The pixels of a frame and where a bright surface ends in it.</summary>
internal sealed class EdgeFinding
{
    private const int Sampled = 200_000, MostPoints = 6000, LeastPoints = 40;

    // Contrast over the noise of a mean of nine pixels, and the share of the frame that either side must have.
    private const double LeastContrast = 12, LeastShare = 0.01;

    // Of all places where the light crosses from bright to dark, those that one circle or line must hold.
    private const double LeastAgree = 0.2;

    // The level between dark and bright at which the edge is first looked for: dark maria at the limb stay above it.
    private const double Level = 0.4;

    private readonly float[] smooth;

    private EdgeFinding(Frame frame, float[] image, float[] smooth, double dark, double bright, double noise)
    {
        (Frame, Image, this.smooth, Dark, Bright, Noise) = (frame, image, smooth, dark, bright, noise);
    }

    /// <summary>The frame.</summary>
    public Frame Frame { get; }

    /// <summary>Its pixels, ADU, rows from the lowest y; NaN where masked.</summary>
    public float[] Image { get; }

    /// <summary>Usual level of the dark side, ADU.</summary>
    public double Dark { get; }

    /// <summary>Usual level of the bright side, ADU.</summary>
    public double Bright { get; }

    /// <summary>Noise of a pixel in the dark, ADU.</summary>
    public double Noise { get; }

    /// <summary>The circle or line; its normal points to the dark side.</summary>
    public CircleArc Arc { get; private set; }

    /// <summary>Length along it of every point of the edge that agrees with it.</summary>
    public double[] Along { get; private set; } = [];

    /// <summary>Distance of each from it.</summary>
    public double[] Distance { get; private set; } = [];

    /// <summary>Reads the frame and finds the edge.</summary>
    /// <exception cref="CannotMeasureException">No contrast, or nothing that is a line or an arc.</exception>
    public static EdgeFinding Of(Frame frame, RunContext context)
    {
        int w = frame.Width, h = frame.Height;
        if (w < 48 || h < 48)
        {
            throw new CannotMeasureException("edge-contrast.small", $"{frame.Name} has {w} x {h} pixels; an edge needs 48 x 48 at least.", frame.Name);
        }

        float[] image = new float[w * h];
        var reader = new FrameReader(frame);
        Parallel.For(0, h, context.Parallel, y => reader.Row(y, 0, image.AsSpan(y * w, w)));
        float[] smooth = Smooth(image, w, h, context);
        (double dark, double bright, double share) = Levels(smooth);
        double noise = PixelNoise(image, w, h, (dark + bright) / 2);
        if (!(bright - dark > LeastContrast * noise / 3) || share < LeastShare || share > 1 - LeastShare)
        {
            throw new CannotMeasureException("edge-contrast.no-edge",
                $"{frame.Name} shows no bright surface that ends at a dark one: levels of {dark:0} and {bright:0} ADU with a noise of {noise:0.0}. "
                + "Photograph the Moon's limb or a sharp edge so that each side fills a part of the frame.", frame.Name);
        }

        var found = new EdgeFinding(frame, image, smooth, dark, bright, noise);
        found.Search(context);
        return found;
    }

    private void Search(RunContext context)
    {
        var (xs, ys, normals) = Points();
        context.Cancel.ThrowIfCancellationRequested();
        int least = Math.Min(Frame.Width, Frame.Height);
        CircleArc? start = xs.Length < LeastPoints ? null : CircleArc.Search(xs, ys, normals, 2.5, Math.Max(12, 0.03 * least));
        if (start is not { } arc)
        {
            throw NoLine();
        }

        // Twice: the first circle gathers what the second is fitted to.
        int[] near = [];
        foreach (double reach in new[] { 6.0, 5.0 })
        {
            CircleArc at = arc;
            near = [.. Enumerable.Range(0, xs.Length)
                .Where(i => Math.Abs(at.Distance(xs[i], ys[i])) < reach && at.Agrees(xs[i], ys[i], normals[i]))];
            (arc, _, _) = at.Fit([.. near.Select(i => xs[i])], [.. near.Select(i => ys[i])]);
        }

        // Moved to the middle of what agrees, so that lengths are counted from there.
        double[] along = [.. near.Select(i => arc.Along(xs[i], ys[i])).Order()];
        if (along.Length < LeastPoints || along.Length < LeastAgree * xs.Length)
        {
            throw NoLine();
        }

        double middle = arc.Curvature == 0 || Closed(arc, along) ? 0 : along[along.Length / 2];
        (double x, double y) = arc.At(middle, 0);
        Arc = new CircleArc(x, y, arc.NormalAt(middle), arc.Curvature);
        Along = [.. near.Select(i => Arc.Along(xs[i], ys[i]))];
        Distance = [.. near.Select(i => Arc.Distance(xs[i], ys[i]))];
    }

    /// <summary>Whether points go nearly all round the circle.</summary>
    public static bool Closed(CircleArc arc, double[] along) => along.Length > 0 && Math.Abs(arc.Curvature) * (along.Max() - along.Min()) > 5.5;

    private CannotMeasureException NoLine() => new("edge-contrast.no-line",
        $"What separates bright from dark in {Frame.Name} is neither a straight edge nor a round one. Photograph the Moon's sunlit limb, not the "
        + "terminator, or one straight, sharp edge.", Frame.Name);

    private (double[] X, double[] Y, double[] Normal) Points()
    {
        int w = Frame.Width, h = Frame.Height;
        double level = Dark + (Level * (Bright - Dark)), steep = 0.02 * (Bright - Dark);
        var found = new List<(double X, double Y, double Normal)>();
        for (int y = 3; y < h - 3; y++)
        {
            for (int x = 3; x < w - 4; x++)
            {
                float a = smooth[(y * w) + x], right = smooth[(y * w) + x + 1], up = smooth[((y + 1) * w) + x];
                bool along = (a - level) * (right - level) < 0, across = (a - level) * (up - level) < 0;
                if (!along && !across)
                {
                    continue;
                }

                double gx = smooth[(y * w) + x + 3] - smooth[(y * w) + x - 2], gy = smooth[((y + 3) * w) + x] - smooth[((y - 2) * w) + x];
                if (!(Math.Sqrt((gx * gx) + (gy * gy)) > steep))
                {
                    continue;
                }

                double normal = Math.Atan2(-gy, -gx);
                if (along && Math.Abs(gx) >= Math.Abs(gy))
                {
                    found.Add((x + ((level - a) / (right - a)), y, normal));
                }
                else if (across && Math.Abs(gy) > Math.Abs(gx))
                {
                    found.Add((x, y + ((level - a) / (up - a)), normal));
                }
            }
        }

        int step = Math.Max(1, (found.Count + MostPoints - 1) / MostPoints);
        var kept = found.Where((_, i) => i % step == 0).ToArray();
        return ([.. kept.Select(p => p.X)], [.. kept.Select(p => p.Y)], [.. kept.Select(p => p.Normal)]);
    }

    // Means of three by three pixels, those that are known; so a color of a mosaic serves as well.
    private static float[] Smooth(float[] image, int w, int h, RunContext context)
    {
        float[] smooth = new float[w * h];
        Parallel.For(0, h, context.Parallel, y =>
        {
            for (int x = 0; x < w; x++)
            {
                float sum = 0;
                int count = 0;
                for (int j = Math.Max(0, y - 1); j <= Math.Min(h - 1, y + 1); j++)
                {
                    for (int i = Math.Max(0, x - 1); i <= Math.Min(w - 1, x + 1); i++)
                    {
                        float v = image[(j * w) + i];
                        if (float.IsFinite(v))
                        {
                            sum += v;
                            count++;
                        }
                    }
                }

                smooth[(y * w) + x] = count >= 3 ? sum / count : float.NaN;
            }
        });
        return smooth;
    }

    // The two classes that differ most (Otsu 1979, IEEE Trans. Syst. Man Cybern. 9, 62), and their medians.
    private static (double Dark, double Bright, double Share) Levels(float[] smooth)
    {
        int step = Math.Max(1, smooth.Length / Sampled);
        double[] values = [.. Enumerable.Range(0, smooth.Length / step).Select(i => (double)smooth[i * step]).Where(double.IsFinite).Order()];
        if (values.Length < 100)
        {
            return (0, 0, 0);
        }

        double total = values.Sum(), below = 0, best = -1;
        int at = 0;
        for (int i = 0; i < values.Length - 1; i++)
        {
            below += values[i];
            double n0 = i + 1, n1 = values.Length - n0, apart = (below / n0) - ((total - below) / n1), between = n0 * n1 * apart * apart;
            if (between > best && values[i + 1] > values[i])
            {
                (best, at) = (between, i + 1);
            }
        }

        return at == 0 ? (values[0], values[0], 0)
            : (values[at / 2], values[at + ((values.Length - at) / 2)], (double)(values.Length - at) / values.Length);
    }

    private static double PixelNoise(float[] image, int w, int h, double below)
    {
        var steps = new List<double>();
        int step = Math.Max(1, (int)((long)w * h / Sampled)) | 1;
        for (int i = 0; i < (w * h) - 2; i += step)
        {
            if (i % w < w - 2 && image[i] < below && image[i + 2] < below)
            {
                steps.Add(Math.Abs(image[i + 2] - image[i]));
            }
        }

        return steps.Count > 0 ? 1.4826 * Robust.Median(steps) / Math.Sqrt(2) : 0;
    }
}
