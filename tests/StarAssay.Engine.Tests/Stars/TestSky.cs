using StarAssay.Engine.Imaging;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>A small star field drawn for the tests: round Gaussian stars integrated over the pixels by the error function,
/// normal noise. Independent of the engine's simulator.</summary>
internal sealed class TestSky
{
    public const int Width = 400;
    public const int Height = 320;
    public const double Sigma = 1.5;

    public TestSky(int seed = 1, double noise = 5, double sigmaX = Sigma, double sigmaY = Sigma)
    {
        var random = new Random(seed);
        Pixels = new float[Width * Height];
        for (int i = 0; i < Pixels.Length; i++)
        {
            Pixels[i] = (float)(100 + (0.02 * (i % Width)) + (noise * Normal(random)));
        }

        for (int j = 0; j < 5; j++)
        {
            for (int i = 0; i < 6; i++)
            {
                double x = 35 + (62 * i) + (8 * random.NextDouble()), y = 32 + (60 * j) + (8 * random.NextDouble());
                double flux = 3000 * Math.Exp(3 * random.NextDouble());
                Stars.Add((x, y, flux));
                Draw(x, y, flux, sigmaX, sigmaY);
            }
        }
    }

    public float[] Pixels { get; }

    public List<(double X, double Y, double Flux)> Stars { get; } = [];

    public Frame Frame => new() { Pixels = RawPixels.FromFloats(Pixels, Width, Height), Name = "test sky", SaturationAdu = 60000, GainElectronsPerAdu = 1e6 };

    public void Draw(double x, double y, double flux, double sigmaX, double sigmaY)
    {
        for (int py = Math.Max(0, (int)(y - 20)); py < Math.Min(Height, (int)(y + 21)); py++)
        {
            for (int px = Math.Max(0, (int)(x - 20)); px < Math.Min(Width, (int)(x + 21)); px++)
            {
                Pixels[(py * Width) + px] += (float)(flux * Share(px - x, sigmaX) * Share(py - y, sigmaY));
            }
        }
    }

    private static double Normal(Random random) =>
        Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());

    private static double Share(double d, double sigma) =>
        0.5 * (MathNet.Numerics.SpecialFunctions.Erf((d + 0.5) / (sigma * Math.Sqrt(2))) - MathNet.Numerics.SpecialFunctions.Erf((d - 0.5) / (sigma * Math.Sqrt(2))));
}
