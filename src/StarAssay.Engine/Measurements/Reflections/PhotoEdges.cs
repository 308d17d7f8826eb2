using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Reflections;

/// <summary>A photo, a coarse picture of it, and where that has edges.</summary>
internal sealed class PhotoEdges
{
    private const int CoarseSide = 720, MostPoints = 14_000;

    // A gradient counts from this many times the usual one, or from this share of the range of the picture's square root.
    private const double OverUsual = 4, OverRange = 0.012;

    private PhotoEdges(Frame frame, float[] image)
    {
        (Frame, Image) = (frame, image);
    }

    /// <summary>The photo.</summary>
    public Frame Frame { get; }

    /// <summary>Its pixels, rows from the lowest y; NaN where masked.</summary>
    public float[] Image { get; }

    /// <summary>Pixels of the photo along a pixel of the coarse picture.</summary>
    public int Factor { get; private set; }

    /// <summary>Columns of the coarse picture.</summary>
    public int Columns { get; private set; }

    /// <summary>Rows of it.</summary>
    public int Rows { get; private set; }

    /// <summary>Square root of the light above the darkest, over the range; so that faint reflections have edges too.</summary>
    public float[] Coarse { get; private set; } = [];

    /// <summary>Range of light in the photo.</summary>
    public double Range { get; private set; }

    /// <summary>Edge points in the coarse picture, with the direction toward the bright side.</summary>
    public List<(double X, double Y, double Nx, double Ny)> Points { get; } = [];

    /// <summary>Reads the photo and finds its edges.</summary>
    /// <exception cref="CannotMeasureException">Too small, or without any contrast.</exception>
    public static PhotoEdges Of(Frame frame, RunContext context)
    {
        int w = frame.Width, h = frame.Height;
        if (w < 64 || h < 64)
        {
            throw new CannotMeasureException("reflections.small", $"{frame.Name} has {w} x {h} pixels; circles need 64 x 64 at least.", frame.Name);
        }

        float[] image = new float[w * h];
        var reader = new FrameReader(frame);
        Parallel.For(0, h, context.Parallel, y => reader.Row(y, 0, image.AsSpan(y * w, w)));
        var found = new PhotoEdges(frame, image);
        found.Coarsen(w, h, context);
        found.FindPoints();
        return found;
    }

    private void Coarsen(int w, int h, RunContext context)
    {
        int factor = Math.Max(1, (int)Math.Ceiling(Math.Max(w, h) / (double)CoarseSide)), columns = w / factor, rows = h / factor;
        (Factor, Columns, Rows) = (factor, columns, rows);
        float[] coarse = new float[columns * rows];
        Parallel.For(0, rows, context.Parallel, j =>
        {
            for (int i = 0; i < columns; i++)
            {
                double sum = 0;
                int count = 0;
                for (int p = 0; p < factor * factor; p++)
                {
                    float v = Image[(((j * factor) + (p / factor)) * w) + (i * factor) + (p % factor)];
                    (sum, count) = float.IsFinite(v) ? (sum + v, count + 1) : (sum, count);
                }

                coarse[(j * columns) + i] = count > 0 ? (float)(sum / count) : float.NaN;
            }
        });
        double[] values = [.. coarse.Where(float.IsFinite).Select(v => (double)v).Order()];
        if (values.Length < 100)
        {
            throw NoContrast();
        }

        double low = values[values.Length / 200], high = values[values.Length - 1 - (values.Length / 500)];
        Range = high - low;
        if (!(Range > 0))
        {
            throw NoContrast();
        }

        for (int i = 0; i < coarse.Length; i++)
        {
            coarse[i] = float.IsFinite(coarse[i]) ? (float)Math.Sqrt(Math.Clamp((coarse[i] - low) / Range, 0, 1.2)) : 0;
        }

        Coarse = coarse;
    }

    private CannotMeasureException NoContrast() => new("reflections.no-contrast",
        $"{Frame.Name} is evenly dark or bright: nothing is seen in it. Light the plate of the sighting eyepiece and take the photo again.", Frame.Name);

    private void FindPoints()
    {
        int w = Columns, h = Rows;
        float[] smooth = Coarse;
        for (int lap = 0; lap < 3; lap++)
        {
            smooth = Binomial(smooth, w, h);
        }

        double[] gx = new double[w * h], gy = new double[w * h], size = new double[w * h];
        for (int y = 1; y < h - 1; y++)
        {
            for (int x = 1; x < w - 1; x++)
            {
                int p = (y * w) + x;
                (gx[p], gy[p]) = ((smooth[p + 1] - smooth[p - 1]) / 2.0, (smooth[p + w] - smooth[p - w]) / 2.0);
                size[p] = Math.Sqrt((gx[p] * gx[p]) + (gy[p] * gy[p]));
            }
        }

        int step = Math.Max(1, size.Length / 40_000);
        double usual = Robust.Median(Enumerable.Range(0, size.Length / step).Select(i => size[i * step])), least = Math.Max(OverUsual * usual, OverRange);
        var all = new List<(double X, double Y, double Nx, double Ny)>();
        for (int y = 2; y < h - 2; y++)
        {
            for (int x = 2; x < w - 2; x++)
            {
                int p = (y * w) + x;
                if (size[p] < least)
                {
                    continue;
                }

                // The ridge of the gradient, to a part of a pixel along it.
                double nx = gx[p] / size[p], ny = gy[p] / size[p];
                double ahead = Between(size, w, x + nx, y + ny), behind = Between(size, w, x - nx, y - ny);
                if (size[p] < ahead || size[p] <= behind)
                {
                    continue;
                }

                double bow = ahead - (2 * size[p]) + behind, shift = bow < 0 ? Math.Clamp(0.5 * (behind - ahead) / bow, -0.6, 0.6) : 0;
                all.Add((x + (shift * nx), y + (shift * ny), nx, ny));
            }
        }

        int stride = Math.Max(1, (all.Count + MostPoints - 1) / MostPoints);
        Points.AddRange(all.Where((_, i) => i % stride == 0));
        Thinned = stride;
    }

    /// <summary>Of so many points one was kept.</summary>
    public int Thinned { get; private set; } = 1;

    private static double Between(double[] values, int w, double x, double y)
    {
        int i = (int)Math.Floor(x), j = (int)Math.Floor(y);
        double fx = x - i, fy = y - j;
        int p = (j * w) + i;
        return (((values[p] * (1 - fx)) + (values[p + 1] * fx)) * (1 - fy)) + (((values[p + w] * (1 - fx)) + (values[p + w + 1] * fx)) * fy);
    }

    private static float[] Binomial(float[] values, int w, int h)
    {
        float[] half = new float[w * h], full = new float[w * h];
        for (int y = 0; y < h; y++)
        {
            for (int x = 0; x < w; x++)
            {
                int p = (y * w) + x;
                half[p] = (values[x > 0 ? p - 1 : p] + (2 * values[p]) + values[x < w - 1 ? p + 1 : p]) / 4;
            }
        }

        for (int y = 0; y < h; y++)
        {
            for (int x = 0; x < w; x++)
            {
                int p = (y * w) + x;
                full[p] = (half[y > 0 ? p - w : p] + (2 * half[p]) + half[y < h - 1 ? p + w : p]) / 4;
            }
        }

        return full;
    }
}
