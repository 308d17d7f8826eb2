using MathNet.Numerics;

namespace StarAssay.Engine.Tests.Measurements.FocusSurface;

/// <summary>Half-flux radius of an evenly lit disc blurred by a Gaussian: geometric optics and seeing, by plain integration.</summary>
internal static class BlurredDisc
{
    private const double Last = 12;
    private static readonly double[] Table = [.. Enumerable.Range(0, 121).Select(k => Find(k * Last / 120))];

    /// <summary>Half-flux radius.</summary>
    /// <param name="disc">Radius of the disc.</param>
    /// <param name="sigma">Standard deviation of the blur, at least a twelfth of it.</param>
    public static double HalfFluxRadius(double disc, double sigma)
    {
        double at = Math.Min(disc / sigma, Last) / Last * (Table.Length - 1);
        int k = Math.Min((int)at, Table.Length - 2);
        return sigma * (Table[k] + ((at - k) * (Table[k + 1] - Table[k])));
    }

    private static double Find(double disc)
    {
        (double low, double high) = (0.1, disc + 3);
        for (int turn = 0; turn < 40; turn++)
        {
            double middle = (low + high) / 2;
            (low, high) = Within(middle, disc) < 0.5 ? (middle, high) : (low, middle);
        }

        return low;
    }

    // Light within r of a Gaussian at the distance s: integral of t exp(-(t^2 + s^2) / 2) I0(t s) (Rice), averaged over the disc.
    private static double Within(double r, double disc)
    {
        const int Steps = 60;
        double sum = 0, all = 0;
        for (int i = 0; i < Steps; i++)
        {
            double s = disc * (i + 0.5) / Steps, light = 0;
            for (int j = 0; j < Steps; j++)
            {
                double t = r * (j + 0.5) / Steps;
                light += t * Math.Exp(-((t - s) * (t - s)) / 2) * SpecialFunctions.BesselI0(t * s) * Math.Exp(-t * s) * r / Steps;
            }

            sum += s * light;
            all += s;
        }

        return disc > 0 ? sum / all : 1 - Math.Exp(-r * r / 2);
    }
}
