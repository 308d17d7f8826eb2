using System.Numerics;

namespace StarAssay.Engine.Optics.Views;

/// <summary>A star's image at any place, from the transfer function on a grid whose axes run along and across a direction.</summary>
internal sealed class StarImage
{
    // Samples across all frequencies: the image is periodic in half as many wavelength / D.
    private const int Samples = 256;
    private readonly double step;
    private readonly Complex[,] values;

    /// <summary>Light 1 through a telescope; x along a direction from the sensor's x towards y, y across it.</summary>
    public StarImage(SkyTransfer telescope, double angleDeg, ParallelOptions how)
    {
        (double s, double c) = Math.SinCos(angleDeg * Math.PI / 180);
        step = 2 * telescope.Cutoff / Samples;

        // One half of the plane: an image is real.
        values = new Complex[Samples / 2, Samples];
        Parallel.For(0, Samples / 2, how, k =>
        {
            for (int j = 0; j < Samples; j++)
            {
                double along = (k + 0.5) * step, across = (j + 0.5 - (Samples / 2)) * step;
                values[k, j] = telescope.At((along * c) - (across * s), (along * s) + (across * c));
            }
        });
    }

    /// <summary>Light per square arcsec at a place, arcsec.</summary>
    public double At(double x, double y) => Across(y)(x);

    /// <summary>Light along the line at a distance across it.</summary>
    public Func<double, double> Across(double y)
    {
        Complex[] line = new Complex[Samples / 2];
        for (int j = 0; j < Samples; j++)
        {
            var turn = Complex.FromPolarCoordinates(1, 2 * Math.PI * (j + 0.5 - (Samples / 2)) * step * y);
            for (int k = 0; k < line.Length; k++)
            {
                line[k] += values[k, j] * turn;
            }
        }

        return x => Sum(line, 0.5, x);
    }

    /// <summary>Where it is brightest near the middle: uphill along and across in turns, from steps of that size down to a sixtieth.</summary>
    public (double X, double Y) Top(double firstStep)
    {
        double x = 0, y = 0;
        for (double h = firstStep; h > firstStep / 60; h /= 2)
        {
            for (int turn = 0; turn < 3; turn++)
            {
                x = Uphill(Across(y), x, h);
                y = Uphill(Along(x), y, h);
            }
        }

        return (x, y);
    }

    // Light across the line at a place along it.
    private Func<double, double> Along(double x)
    {
        Complex[] line = new Complex[Samples];
        for (int k = 0; k < Samples / 2; k++)
        {
            var turn = Complex.FromPolarCoordinates(1, 2 * Math.PI * (k + 0.5) * step * x);
            for (int j = 0; j < Samples; j++)
            {
                line[j] += values[k, j] * turn;
            }
        }

        return y => Sum(line, 0.5 - (Samples / 2), y);
    }

    private static double Uphill(Func<double, double> light, double from, double step)
    {
        double here = light(from), before = light(from - step), after = light(from + step);
        for (int count = 0; count < 200 && Math.Max(before, after) > here; count++)
        {
            (from, before, here, after) = after > before
                ? (from + step, here, after, light(from + (2 * step)))
                : (from - step, light(from - (2 * step)), before, here);
        }

        return from;
    }

    private double Sum(Complex[] line, double first, double place)
    {
        double sum = 0;
        for (int k = 0; k < line.Length; k++)
        {
            (double s, double c) = Math.SinCos(2 * Math.PI * (k + first) * step * place);
            sum += (line[k].Real * c) - (line[k].Imaginary * s);
        }

        return 2 * step * step * sum;
    }
}
