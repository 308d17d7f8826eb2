using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>A square field for the kinds of frames that are not just stars; everything is added as functions of the pixel. Normal noise of
/// the sky and the light's photons. Independent of the engine's simulator.</summary>
internal sealed class DrawnSky(int seed, int size = 640, double sky = 300, double gain = 1.5)
{
    private readonly Random random = new(seed);
    private readonly double[] mean = new double[size * size];

    public List<(double X, double Y, double Flux)> Stars { get; } = [];

    public int Size => size;

    public double Uniform(double low, double high) => low + ((high - low) * random.NextDouble());

    /// <summary>This sky, after something was drawn on it.</summary>
    public DrawnSky With(Action<DrawnSky> draw)
    {
        draw(this);
        return this;
    }

    /// <summary>Adds light, given per pixel.</summary>
    public void Add(Func<double, double, double> light)
    {
        for (int y = 0; y < size; y++)
        {
            for (int x = 0; x < size; x++)
            {
                mean[(y * size) + x] += light(x, y);
            }
        }
    }

    /// <summary>Adds a star of a profile (light over px^2 at an offset from its center, total light 1), summed on 4 x 4 points a pixel.</summary>
    public void Star(double x, double y, double flux, Func<double, double, double> profile, int reach = 30)
    {
        Stars.Add((x, y, flux));
        for (int py = Math.Max(0, (int)y - reach); py <= Math.Min(size - 1, (int)y + reach); py++)
        {
            for (int px = Math.Max(0, (int)x - reach); px <= Math.Min(size - 1, (int)x + reach); px++)
            {
                double sum = 0;
                for (int k = 0; k < 16; k++)
                {
                    sum += profile(px - x + (((k % 4) - 1.5) / 4), py - y + (((k / 4) - 1.5) / 4));
                }

                mean[(py * size) + px] += flux * sum / 16;
            }
        }
    }

    /// <summary>Stars on a jittered lattice, which do not overlap.</summary>
    public void Lattice(int aside, Func<double, double, Func<double, double, double>> profile, double low, double high)
    {
        double step = (double)size / aside;
        for (int j = 0; j < aside; j++)
        {
            for (int i = 0; i < aside; i++)
            {
                double x = (i + Uniform(0.35, 0.65)) * step, y = (j + Uniform(0.35, 0.65)) * step;
                Star(x, y, low * Math.Pow(high / low, Uniform(0, 1)), profile(x, y));
            }
        }
    }

    /// <summary>Noise and all.</summary>
    public float[] Pixels()
    {
        float[] pixels = new float[size * size];
        for (int i = 0; i < pixels.Length; i++)
        {
            double normal = Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
            pixels[i] = (float)(sky + mean[i] + (normal * Math.Sqrt((sky + mean[i]) / gain)));
        }

        return pixels;
    }

    public Frame Frame(float[] pixels) => new()
    {
        Pixels = RawPixels.FromFloats(pixels, size, size),
        Name = "drawn sky",
        SaturationAdu = 1e9,
        GainElectronsPerAdu = gain,
    };

    public static Func<double, double, double> Gaussian(double sigma) =>
        (dx, dy) => Math.Exp(-((dx * dx) + (dy * dy)) / (2 * sigma * sigma)) / (2 * Math.PI * sigma * sigma);

    /// <summary>A disc with a hole, its rims softened over a pixel.</summary>
    public static Func<double, double, double> Ring(double diameter, double hole) => (dx, dy) =>
    {
        double r = Math.Sqrt((dx * dx) + (dy * dy)), area = Math.PI / 4 * diameter * diameter * (1 - (hole * hole));
        double inside = Math.Clamp((0.5 * diameter) - r + 0.5, 0, 1), outside = Math.Clamp(r - (0.5 * hole * diameter) + 0.5, 0, 1);
        return inside * outside / area;
    };
}
