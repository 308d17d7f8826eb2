using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>A defocused star as found in a frame: where, how large, how bright.</summary>
/// <param name="X">Centre of the disc in frame pixels.</param>
/// <param name="Y">Centre of the disc in frame pixels.</param>
/// <param name="Diameter">Outer diameter of the disc, pixels.</param>
/// <param name="Background">Level round the star, ADU.</param>
/// <param name="Noise">RMS of the background, ADU.</param>
/// <param name="Level">Mean level of the disc above background, ADU.</param>
internal sealed record DefocusedStar(double X, double Y, double Diameter, double Background, double Noise, double Level)
{
    private const int LookSize = 320;

    /// <summary>Finds the star with the most light.</summary>
    public static DefocusedStar Find(Frame frame)
    {
        int bin = Math.Max(1, (int)Math.Ceiling(Math.Max(frame.Width, frame.Height) / (double)LookSize));
        DefocusedStar coarse = FindIn(frame, 0, 0, frame.Width, frame.Height, bin);
        if (bin == 1)
        {
            return coarse;
        }

        // Look again, closer: a square of three diameters round it.
        double half = Math.Max(1.5 * coarse.Diameter, 24);
        int x0 = Math.Max(0, (int)(coarse.X - half));
        int y0 = Math.Max(0, (int)(coarse.Y - half));
        int x1 = Math.Min(frame.Width, (int)(coarse.X + half) + 1);
        int y1 = Math.Min(frame.Height, (int)(coarse.Y + half) + 1);
        int fine = Math.Max(1, (int)Math.Ceiling(Math.Max(x1 - x0, y1 - y0) / (double)LookSize));
        return FindIn(frame, x0, y0, x1 - x0, y1 - y0, fine);
    }

    private static DefocusedStar FindIn(Frame frame, int x0, int y0, int width, int height, int bin)
    {
        int w = width / bin;
        int h = height / bin;
        if (w < 8 || h < 8)
        {
            throw new CannotMeasureException("defocused-star.frame-small",
                $"{frame.Name} is only {frame.Width} x {frame.Height} pixels; a defocused star with sky round it needs at least 32 x 32.", frame.Name);
        }

        double[] raw = new FrameReader(frame).Region(x0, y0, w * bin, h * bin);
        double[] image = Binned(raw, w, h, bin);
        (double background, double noise) = Sky(image, w, h);

        // A 3 x 3 median takes single hot pixels out before anything is called bright.
        double[] smooth = Median3(image, w, h, background);
        double[] ordered = [.. smooth.Where(double.IsFinite).Order()];
        if (ordered.Length < 64)
        {
            throw new CannotMeasureException("defocused-star.none", $"{frame.Name} has hardly any usable pixels. Check the mask and the file.", frame.Name);
        }

        double peak = ordered[(int)(0.999 * (ordered.Length - 1))] - background;
        if (!(peak > 5 * Math.Max(noise / 2, 1e-12)))
        {
            throw new CannotMeasureException("defocused-star.none",
                $"No defocused star stands out in {frame.Name}. Expose longer, or check that the star is in the frame.", frame.Name);
        }

        (List<int> best, double sum) = LargestPatch(smooth, w, h, background + Math.Max(3 * noise / 2, 0.2 * peak), background);
        if (best.Count < 4)
        {
            throw new CannotMeasureException("defocused-star.none", $"No defocused star stands out in {frame.Name}. Expose longer, or check that the star " +
                "is in the frame.", frame.Name);
        }

        // Edge at 25 % of the disc's own level, which is where a straight edge's geometric shadow lies.
        double level = best.Select(k => smooth[k] - background).Order().ElementAt(best.Count / 2);
        (best, _) = LargestPatch(smooth, w, h, background + Math.Max(2 * noise / 2, 0.25 * level), background);
        double cx = 0;
        double cy = 0;
        int minX = w;
        int maxX = 0;
        int minY = h;
        int maxY = 0;
        foreach (int k in best)
        {
            int x = k % w;
            int y = k / w;
            cx += x;
            cy += y;
            (minX, maxX) = (Math.Min(minX, x), Math.Max(maxX, x));
            (minY, maxY) = (Math.Min(minY, y), Math.Max(maxY, y));
        }

        cx /= best.Count;
        cy /= best.Count;

        // The hole of an obstruction is filled: outermost point in each of 72 directions, then the median reach.
        double[] reach = new double[72];
        foreach (int k in best)
        {
            double dx = (k % w) - cx;
            double dy = (k / w) - cy;
            int sector = (int)((Math.Atan2(dy, dx) + Math.PI) / (2 * Math.PI) * 72) % 72;
            reach[sector] = Math.Max(reach[sector], Math.Sqrt((dx * dx) + (dy * dy)) + 0.5);
        }

        double radius = Robust.Median([.. reach.Where(r => r > 0)]);
        _ = sum;
        return new DefocusedStar(x0 + (bin * (cx + 0.5)) - 0.5, y0 + (bin * (cy + 0.5)) - 0.5, 2 * radius * bin, background,
            noise * bin, level);
    }

    private static double[] Binned(double[] raw, int w, int h, int bin)
    {
        if (bin == 1)
        {
            return raw;
        }

        double[] image = new double[w * h];
        for (int j = 0; j < h; j++)
        {
            for (int i = 0; i < w; i++)
            {
                double sum = 0;
                int n = 0;
                for (int b = 0; b < bin; b++)
                {
                    for (int a = 0; a < bin; a++)
                    {
                        double v = raw[((((j * bin) + b) * w * bin) + (i * bin)) + a];
                        if (double.IsFinite(v))
                        {
                            sum += v;
                            n++;
                        }
                    }
                }

                image[(j * w) + i] = n > 0 ? sum / n : double.NaN;
            }
        }

        return image;
    }

    // Sky from the frame's rim, where a star to be measured cannot be, and from the darker half of everything.
    private static (double Level, double Noise) Sky(double[] image, int w, int h)
    {
        int rim = Math.Max(2, Math.Min(w, h) / 16);
        var values = new List<double>();
        for (int j = 0; j < h; j++)
        {
            for (int i = 0; i < w; i++)
            {
                if ((i < rim || j < rim || i >= w - rim || j >= h - rim) && double.IsFinite(image[(j * w) + i]))
                {
                    values.Add(image[(j * w) + i]);
                }
            }
        }

        if (values.Count < 16)
        {
            return (0, 0);
        }

        // Noise from neighbours' differences: the star's wide wings tilt the rim and would pass for noise.
        var steps = new List<double>();
        for (int j = 0; j < h; j++)
        {
            for (int i = 0; i + 1 < w; i++)
            {
                bool onRim = i + 1 < rim || j < rim || i >= w - rim || j >= h - rim;
                double step = image[(j * w) + i + 1] - image[(j * w) + i];
                if (onRim && double.IsFinite(step))
                {
                    steps.Add(step);
                }
            }
        }

        return (Robust.ClippedMeanAndSigma([.. values]).Mean, Robust.ClippedMeanAndSigma([.. steps]).Sigma / Math.Sqrt(2));
    }

    private static double[] Median3(double[] image, int w, int h, double fill)
    {
        double[] result = new double[image.Length];
        Span<double> nine = stackalloc double[9];
        for (int j = 0; j < h; j++)
        {
            for (int i = 0; i < w; i++)
            {
                int n = 0;
                for (int b = Math.Max(0, j - 1); b <= Math.Min(h - 1, j + 1); b++)
                {
                    for (int a = Math.Max(0, i - 1); a <= Math.Min(w - 1, i + 1); a++)
                    {
                        double v = image[(b * w) + a];
                        if (double.IsFinite(v))
                        {
                            nine[n++] = v;
                        }
                    }
                }

                if (n == 0)
                {
                    result[(j * w) + i] = fill;
                    continue;
                }

                Span<double> some = nine[..n];
                some.Sort();
                result[(j * w) + i] = some[n / 2];
            }
        }

        return result;
    }

    private static (List<int> Pixels, double Sum) LargestPatch(double[] image, int w, int h, double threshold, double background)
    {
        bool[] seen = new bool[image.Length];
        List<int> best = [];
        double bestSum = double.NegativeInfinity;
        var stack = new Stack<int>();
        for (int start = 0; start < image.Length; start++)
        {
            if (seen[start] || !(image[start] > threshold))
            {
                continue;
            }

            var patch = new List<int>();
            double sum = 0;
            stack.Push(start);
            seen[start] = true;
            while (stack.Count > 0)
            {
                int k = stack.Pop();
                patch.Add(k);
                sum += image[k] - background;
                int x = k % w;
                int y = k / w;
                for (int b = Math.Max(0, y - 1); b <= Math.Min(h - 1, y + 1); b++)
                {
                    for (int a = Math.Max(0, x - 1); a <= Math.Min(w - 1, x + 1); a++)
                    {
                        int q = (b * w) + a;
                        if (!seen[q] && image[q] > threshold)
                        {
                            seen[q] = true;
                            stack.Push(q);
                        }
                    }
                }
            }

            if (sum > bestSum)
            {
                (best, bestSum) = (patch, sum);
            }
        }

        return (best, bestSum);
    }
}
