using System.Numerics;
using MathNet.Numerics.Integration;
using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Optics.Views;

/// <summary>Profiles of a star out of focus through a round pupil with a round error: diffraction integrals over the radius alone.</summary>
/// <remarks>Born and Wolf, 8.8. Lengths are shares of the disc's geometric radius, light 1 = the same light spread evenly over the disc.</remarks>
internal sealed class RoundStarTest
{
    // Light is followed so far out, in radii of the disc.
    private const double Reach = 2.2;

    private readonly double[] rho;
    private readonly double[] weight;
    private readonly double waves;

    // J0 of radius and pupil, and of radius and frequency with what the air leaves; rows by radius.
    private readonly double[,] pupil;
    private readonly double[,]? air;
    private readonly double[] frequency;
    private readonly double[] passed;
    private readonly double step;
    private readonly int shown;

    /// <summary>A pupil.</summary>
    /// <param name="obstruction">Ratio of the diameters.</param>
    /// <param name="waves">Defocus, to either side.</param>
    /// <param name="blur">FWHM of the seeing in radii of the disc; 0 = still air.</param>
    /// <param name="radius">Where profiles are wanted, evenly spaced from 0.</param>
    public RoundStarTest(double obstruction, double waves, double blur, double[] radius)
    {
        var rule = new GaussLegendreRule(obstruction, 1, 24 + (int)Math.Ceiling(12 * waves));
        (rho, weight, this.waves, step, shown) = (rule.Abscissas, rule.Weights, waves, radius[1] - radius[0], radius.Length);

        // A radius of the disc is 4 W in wavelength / D. Without seeing nothing comes in from beyond what is shown.
        double[] all = blur > 0 ? [.. Enumerable.Range(0, (int)(Reach / step) + 1).Select(k => k * step)] : radius;
        pupil = Table(all, rho, 4 * Math.PI * waves);
        if (!(blur > 0))
        {
            (frequency, passed) = ([], []);
            return;
        }

        double r0 = Seeing.R0FromFwhm(blur * 4 * waves * 500e-9 * Seeing.ArcsecPerRadian, 500);

        // The midpoint rule lifts the image by pi^2 / 12 of the squared step: 0.003 of the even disc's light.
        double fine = 1 / (8 * Reach);
        frequency = [.. Enumerable.Range(0, (int)(4 * waves / fine) + 1).Select(k => (k + 0.5) * fine)];
        passed = [.. frequency.Select(f => Seeing.Mtf(f / (4 * waves), r0) * fine)];
        air = Table(all, frequency, 2 * Math.PI);
    }

    /// <summary>Profiles inside and outside of focus with so many waves of an error over the pupil's radius.</summary>
    public double[][] Profiles(Func<double, double> error)
    {
        double[] waveAt = [.. rho.Select(error)];
        return [Profile(waveAt, -waves), Profile(waveAt, waves)];
    }

    private static double[,] Table(double[] radius, double[] other, double scale)
    {
        double[,] table = new double[radius.Length, other.Length];
        for (int k = 0; k < radius.Length; k++)
        {
            for (int j = 0; j < other.Length; j++)
            {
                table[k, j] = Bessel.J0(scale * radius[k] * other[j]);
            }
        }

        return table;
    }

    private double[] Profile(double[] error, double defocus)
    {
        Complex[] field = [.. rho.Select((r, j) =>
            Complex.FromPolarCoordinates(2 * weight[j] * r, -2 * Math.PI * ((defocus * r * r) + error[j])))];
        double[] light = new double[pupil.GetLength(0)];
        for (int k = 0; k < light.Length; k++)
        {
            Complex sum = Complex.Zero;
            for (int j = 0; j < rho.Length; j++)
            {
                sum += pupil[k, j] * field[j];
            }

            light[k] = Math.PI * Math.PI * 4 * waves * waves * ((sum.Real * sum.Real) + (sum.Imaginary * sum.Imaginary));
        }

        return air is null ? light : Blurred(light, air);
    }

    // There and back by the Hankel transform.
    private double[] Blurred(double[] light, double[,] kernel)
    {
        double[] spectrum = new double[frequency.Length], image = new double[shown];
        for (int j = 0; j < spectrum.Length; j++)
        {
            double sum = 0;
            for (int k = 1; k < light.Length; k++)
            {
                sum += k * step * step * light[k] * kernel[k, j];
            }

            spectrum[j] = 2 * Math.PI * sum * passed[j] * 2 * Math.PI * frequency[j];
        }

        for (int k = 0; k < shown; k++)
        {
            for (int j = 0; j < spectrum.Length; j++)
            {
                image[k] += spectrum[j] * kernel[k, j];
            }
        }

        return image;
    }
}
