using System.Numerics;
using MathNet.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics.Views;

/// <summary>MTF and encircled energy of a pupil.</summary>
/// <param name="Frequency">Spatial frequency as a fraction of the cutoff 1/(lambda N), 0 to 1.</param>
/// <param name="FrequencyPerMm">The same in cycles per millimetre on the sensor.</param>
/// <param name="HorizontalMtf">MTF for detail that varies along x.</param>
/// <param name="VerticalMtf">MTF for detail that varies along y.</param>
/// <param name="MeanMtf">Modulus averaged over direction.</param>
/// <param name="RadiusLambdaN">Radii of the encircled energy in lambda N.</param>
/// <param name="RadiusUm">The same in um on the sensor.</param>
/// <param name="EncircledEnergy">Share of the light inside the radius round the map's reference point.</param>
public sealed record Modulation(double[] Frequency, double[] FrequencyPerMm, double[] HorizontalMtf, double[] VerticalMtf,
    double[] MeanMtf, double[] RadiusLambdaN, double[] RadiusUm, double[] EncircledEnergy);

/// <summary>
/// The transfer function as the autocorrelation of the pupil, and the encircled energy from it, so that no light is
/// lost at the edge of a frame.
/// </summary>
public static class Modulations
{
    private const int Angles = 64;

    /// <summary>Computes both.</summary>
    /// <param name="map">The pupil.</param>
    /// <param name="radii">How many radii up to <paramref name="largestRadius"/>.</param>
    /// <param name="largestRadius">In lambda N.</param>
    public static Modulation Compute(PupilMap map, int radii = 101, double largestRadius = 10)
    {
        map.RequireValid();
        int n = map.Size;
        TransferFunction transfer = TransferFunction.Of(map);

        // One pupil diameter of shift (n samples) is the cutoff.
        double[] frequency = [.. Enumerable.Range(0, n + 1).Select(k => k / (double)n)];
        double[] horizontal = [.. Enumerable.Range(0, n + 1).Select(k => transfer.At(k, 0).Magnitude)];
        double[] vertical = [.. Enumerable.Range(0, n + 1).Select(k => transfer.At(0, k).Magnitude)];
        double[] mean = new double[n + 1];
        double[] real = new double[n + 1];
        for (int k = 0; k <= n; k++)
        {
            for (int a = 0; a < Angles; a++)
            {
                (double s, double c) = Math.SinCos(Math.PI * (a + 0.5) / Angles);
                Complex value = transfer.Between(k * c, k * s);
                mean[k] += value.Magnitude / Angles;
                real[k] += value.Real / Angles;
            }
        }

        double lambdaNUm = map.WavelengthNm * 1e-3 * map.FocalRatio;
        double[] radius = [.. Enumerable.Range(0, radii).Select(i => largestRadius * i / (radii - 1))];
        return new Modulation(
            frequency,
            [.. frequency.Select(v => v * 1000 / lambdaNUm)],
            horizontal,
            vertical,
            mean,
            radius,
            [.. radius.Select(r => r * lambdaNUm)],
            [.. radius.Select(r => Encircled(frequency, real, r))]);
    }

    // EE(r) = 2 pi r integral of OTF(v) J1(2 pi r v) dv, the Hankel transform of a disc; v in 1/(lambda N). Between two
    // samples the averaged OTF is taken as straight and the Bessel function at eight points.
    private static double Encircled(double[] frequency, double[] otf, double r)
    {
        const int Points = 8;
        double sum = 0;
        for (int k = 0; k + 1 < frequency.Length; k++)
        {
            double step = frequency[k + 1] - frequency[k];
            for (int i = 0; i < Points; i++)
            {
                double t = (i + 0.5) / Points;
                double value = otf[k] + (t * (otf[k + 1] - otf[k]));
                sum += value * SpecialFunctions.BesselJ(1, 2 * Math.PI * r * (frequency[k] + (t * step))) * step / Points;
            }
        }

        return 2 * Math.PI * r * sum;
    }
}
