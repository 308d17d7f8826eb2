using System.Numerics.Tensors;
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

    // In a large frame a disc is less than three cells of that look wide, and so gone: it is looked for in more of them first, and the brightest
    // thousandth of them is larger than a disc: so many cells, what single hits leave after the median, may be brighter than its level.
    private const int CloseLookSize = 1280;
    private const int BrighterCells = 8;

    /// <summary>Finds the star with the most light.</summary>
    public static DefocusedStar Find(Frame frame)
    {
        int side = Math.Max(frame.Width, frame.Height);
        int bin = Math.Max(1, (side + LookSize - 1) / LookSize);
        int close = Math.Max(4, (side + CloseLookSize - 1) / CloseLookSize);
        DefocusedStar coarse = (close < bin ? Look(frame, 0, 0, frame.Width, frame.Height, close, BrighterCells) : null)
            ?? FindIn(frame, 0, 0, frame.Width, frame.Height, bin);
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

    private static DefocusedStar FindIn(Frame frame, int x0, int y0, int width, int height, int bin) =>
        Look(frame, x0, y0, width, height, bin, int.MaxValue) ?? throw new CannotMeasureException("defocused-star.none",
            $"No defocused star stands out in {frame.Name}. Expose longer, or check that the star is in the frame.", frame.Name);

    // Null where nothing stands out. Its level is taken from the brightest thousandth of the cells, or from fewer cells than that.
    private static DefocusedStar? Look(Frame frame, int x0, int y0, int width, int height, int bin, int brighter)
    {
        int w = width / bin;
        int h = height / bin;
        if (w < 8 || h < 8)
        {
            throw new CannotMeasureException("defocused-star.frame-small",
                $"{frame.Name} is only {frame.Width} x {frame.Height} pixels; a defocused star with sky round it needs at least 32 x 32.", frame.Name);
        }

        double[] image = Cells(frame, x0, y0, w, h, bin, brighter < int.MaxValue ? 2 : 1);
        (double background, double noise) = Sky(image, w, h);

        // A 3 x 3 median takes single hot pixels out before anything is called bright.
        double[] smooth = Median3(image, w, h, background);
        int usable = smooth.Count(double.IsFinite);
        if (usable < 64)
        {
            throw new CannotMeasureException("defocused-star.none", $"{frame.Name} has hardly any usable pixels. Check the mask and the file.", frame.Name);
        }

        int above = Math.Min(brighter, usable - 1 - (int)(0.999 * (usable - 1)));
        double peak = Brightest(smooth, above) - background;
        if (!(peak > 5 * Math.Max(noise / 2, 1e-12)))
        {
            return null;
        }

        (List<int> best, double sum) = LargestPatch(smooth, w, h, background + Math.Max(3 * noise / 2, 0.2 * peak), background);
        if (best.Count < 4)
        {
            return null;
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

    // Means of cells, of each first, third, ... row where it need not be all; NaN where a cell has no usable pixel. One row of cells at a time,
    // since a whole frame in doubles is large.
    private static double[] Cells(Frame frame, int x0, int y0, int w, int h, int bin, int every)
    {
        var reader = new FrameReader(frame);
        if (bin == 1)
        {
            return reader.Region(x0, y0, w, h);
        }

        double[] image = new double[w * h];
        int wide = w * bin, taken = (bin + every - 1) / every;
        float[] rows = new float[taken * wide];
        for (int j = 0; j < h; j++)
        {
            for (int b = 0; b < taken; b++)
            {
                reader.Row(y0 + (j * bin) + (b * every), x0, rows.AsSpan(b * wide, wide));
            }

            for (int i = 0; i < w; i++)
            {
                double sum = 0;
                for (int b = 0; b < taken; b++)
                {
                    foreach (float v in rows.AsSpan((b * wide) + (i * bin), bin))
                    {
                        sum += v;
                    }
                }

                image[(j * w) + i] = double.IsFinite(sum) ? sum / (taken * bin) : MeanOfFinite(rows, wide, i * bin, bin);
            }
        }

        return image;
    }

    private static double MeanOfFinite(float[] rows, int wide, int x, int bin)
    {
        double sum = 0;
        int n = 0;
        for (int k = 0; k < rows.Length / wide * bin; k++)
        {
            float v = rows[(k / bin * wide) + x + (k % bin)];
            sum += float.IsFinite(v) ? v : 0;
            n += float.IsFinite(v) ? 1 : 0;
        }

        return n > 0 ? sum / n : double.NaN;
    }

    // The value that so many are above.
    private static double Brightest(double[] values, int above)
    {
        var queue = new PriorityQueue<double, double>(above + 2);
        foreach (double v in values)
        {
            if (double.IsFinite(v) && (queue.Count <= above || v > queue.Peek()))
            {
                queue.Enqueue(v, v);
                if (queue.Count > above + 1)
                {
                    queue.Dequeue();
                }
            }
        }

        return queue.Peek();
    }

    // Sky from the frame's rim, where a star to be measured cannot be, and from the darker half of everything.
    private static (double Level, double Noise) Sky(double[] image, int w, int h)
    {
        int rim = Math.Clamp(Math.Min(w, h) / 16, 2, 20);
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

    /// <summary>Median of each pixel and its eight neighbours, as far as they are there; a level where none is.</summary>
    internal static double[] Median3(double[] image, int w, int h, double fill)
    {
        double[] result = new double[image.Length];
        for (int j = 1; j + 1 < h && w > 2; j++)
        {
            MediansOfRow(image, w, j, result.AsSpan(j * w, w));
        }

        MediansOfTheRest(image, w, h, fill, result);
        return result;
    }

    // Of a row within the image, its ends left out; NaN where one of the nine is none. The three of each column are put in order once: the
    // median of all is that of the largest least, the median middle and the least largest (from memory; the tests hold it against sorting).
    private static void MediansOfRow(double[] image, int w, int j, Span<double> result)
    {
        ReadOnlySpan<double> up = image.AsSpan((j - 1) * w, w), here = image.AsSpan(j * w, w), down = image.AsSpan((j + 1) * w, w);
        Span<double> low = new double[w], middle = new double[w], high = new double[w], some = new double[w];
        TensorPrimitives.Min(up, here, low);
        TensorPrimitives.Max(up, here, high);
        TensorPrimitives.Min(high, down, middle);
        TensorPrimitives.Max(high, down, high);
        TensorPrimitives.Max(low, middle, some);
        TensorPrimitives.Min(low, middle, low);
        some.CopyTo(middle);
        int n = w - 2;
        Span<double> most = new double[n], center = new double[n], least = new double[n];
        TensorPrimitives.Max(low[..n], low[1..^1], most);
        TensorPrimitives.Max(most, low[2..], most);
        TensorPrimitives.Min(high[..n], high[1..^1], least);
        TensorPrimitives.Min(least, high[2..], least);
        MiddleOfThree(middle[..n], middle[1..^1], middle[2..], center, some[..n]);
        MiddleOfThree(most, center, least, result[1..^1], some[..n]);
        result[0] = result[^1] = double.NaN;
    }

    private static void MiddleOfThree(ReadOnlySpan<double> a, ReadOnlySpan<double> b, ReadOnlySpan<double> c, Span<double> result, Span<double> some)
    {
        TensorPrimitives.Max(a, b, some);
        TensorPrimitives.Min(some, c, some);
        TensorPrimitives.Min(a, b, result);
        TensorPrimitives.Max(result, some, result);
    }

    // At the edges, and where something is no number.
    private static void MediansOfTheRest(double[] image, int w, int h, double fill, double[] result)
    {
        Span<double> nine = stackalloc double[9];
        for (int j = 0; j < h; j++)
        {
            for (int i = 0; i < w; i++)
            {
                bool inside = j > 0 && j + 1 < h && i > 0 && i + 1 < w;
                if (inside && double.IsFinite(result[(j * w) + i]))
                {
                    continue;
                }

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
