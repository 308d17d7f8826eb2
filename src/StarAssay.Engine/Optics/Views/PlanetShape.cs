using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics.Views;

/// <summary>The drawn planet: brightness of its disc at every point, and the contrast of its belts as an image shows it.</summary>
internal sealed class PlanetShape
{
    /// <summary>Points along a side of a sample, over which its brightness is the mean.</summary>
    public const int Points = 4;

    private readonly PlanetDisc planet;
    private readonly double equator;
    private readonly double pole;

    public PlanetShape(PlanetDisc planet)
    {
        this.planet = planet;
        equator = 0.5 * planet.DiameterArcsec;
        pole = equator * (1 - planet.Flattening);
        (Sin, Cos) = Math.SinCos(planet.AngleDeg * Math.PI / 180);
    }

    /// <summary>Sine of the direction of the belts.</summary>
    public double Sin { get; }

    /// <summary>Its cosine.</summary>
    public double Cos { get; }

    /// <summary>Brightness at a place, x along the belts, y across them, arcsec.</summary>
    public double At(double x, double y)
    {
        double r2 = (x * x / (equator * equator)) + (y * y / (pole * pole));
        if (r2 >= 1)
        {
            return 0;
        }

        // Minnaert 1941 (from memory): I = I0 mu0^k mu^(k - 1), and mu0 = mu at full phase.
        double light = Math.Pow(1 - r2, 0.5 * ((2 * planet.LimbDarkening) - 1));
        if (planet.SpotArcsec > 0 && (x * x) + (y * y) < 0.25 * planet.SpotArcsec * planet.SpotArcsec)
        {
            return 0;
        }

        foreach (Belt belt in planet.Belts)
        {
            if (Math.Abs((y / pole) - belt.Middle) < 0.5 * belt.Width)
            {
                light *= belt.Brightness;
            }
        }

        return light;
    }

    /// <summary>Means over the samples of a square.</summary>
    public double[] Samples(SkyImage square, RunContext context)
    {
        double[] drawn = new double[square.Size * square.Size];
        double part = square.Step / Points, reach = equator + square.Step;
        Parallel.For(0, square.Size, context.Parallel, j =>
        {
            double y0 = square.Place(j);
            for (int i = 0; i < square.Size && Math.Abs(y0) < reach; i++)
            {
                double x0 = square.Place(i);
                if (Math.Abs(x0) >= reach)
                {
                    continue;
                }

                double sum = 0;
                for (int b = 0; b < Points; b++)
                {
                    for (int a = 0; a < Points; a++)
                    {
                        double x = x0 + ((a + 0.5 - (0.5 * Points)) * part), y = y0 + ((b + 0.5 - (0.5 * Points)) * part);
                        sum += At((x * Cos) + (y * Sin), (y * Cos) - (x * Sin));
                    }
                }

                drawn[(j * square.Size) + i] = sum / (Points * Points);
            }
        });
        return drawn;
    }

    /// <summary>(beside - belt) / (beside + belt): means over the middle half of the belt, and over as much a whole width to either side of it; off the
    /// middle of the disc, where a spot may be.</summary>
    public double BeltContrast(Belt belt, Func<double, double, double> light)
    {
        double Mean(double middle) => Enumerable.Range(0, 11).Average(i => Enumerable.Range(0, 5).Average(
            j => light(equator * (0.2 + (0.02 * i)), pole * (middle + (belt.Width * 0.1 * (j - 2))))));
        double inside = Mean(belt.Middle), beside = 0.5 * (Mean(belt.Middle - belt.Width) + Mean(belt.Middle + belt.Width));
        return (beside - inside) / (beside + inside);
    }

    /// <summary>The same of the spot: its middle half against two places a diameter to either side.</summary>
    public double SpotContrast(Func<double, double, double> light)
    {
        double d = planet.SpotArcsec;
        double Mean(double x) => 0.2 * (light(x, 0) + light(x - (0.2 * d), 0) + light(x + (0.2 * d), 0) + light(x, 0.2 * d) + light(x, -0.2 * d));
        double inside = Mean(0), beside = 0.5 * (Mean(-d) + Mean(d));
        return (beside - inside) / (beside + inside);
    }
}
