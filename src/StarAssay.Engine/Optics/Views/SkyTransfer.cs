using System.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics.Views;

/// <summary>Transfer function of a telescope and the air in all colors of a light, by frequency on the sky in cycles per arcsec.</summary>
/// <remarks>The colors add as complex numbers at the same frequency. The air is that of a long exposure (Fried 1966); the seeing is given at the mean
/// wavelength and goes with wavelength^(-1/5). Axes as on the sensor, x right, y up.</remarks>
internal sealed class SkyTransfer
{
    // Light this far out is kept, in wavelength x focal ratio.
    private const double Margin = 32;

    private readonly Part[] parts;

    private SkyTransfer(Part[] parts) => this.parts = parts;

    /// <summary>Highest frequency that anything is transferred at.</summary>
    public double Cutoff => parts.Max(p => p.Cutoff);

    /// <summary>The telescope itself in still air, the screen at a place.</summary>
    public static SkyTransfer Own(PupilMap map, ViewLight light, double sensorUm, double apertureMm, CancellationToken cancel) => Of(
        light, apertureMm, (nm, k) =>
        {
            cancel.ThrowIfCancellationRequested();
            double shift = sensorUm - light.FocusUm[k];
            return Drawn((map with { WavelengthNm = nm }).FineEnoughFor(shift, Margin), shift);
        });

    /// <summary>A perfect telescope of the same pupil: every color in focus, so that one transfer function serves all.</summary>
    public static SkyTransfer Perfect(PupilMap map, ViewLight light, double apertureMm)
    {
        Func<double, double, Complex> one = Drawn(map.Perfect(), 0);
        return Of(light, apertureMm, (_, _) => one);
    }

    /// <summary>A perfect clear aperture of the same diameter.</summary>
    public static SkyTransfer Clear(ViewLight light, double apertureMm) =>
        Of(light, apertureMm, (_, _) => (x, y) => Airy.Mtf(Math.Sqrt((x * x) + (y * y))));

    /// <summary>The same telescope through the air of a long exposure.</summary>
    /// <param name="seeingArcsec">FWHM at the mean wavelength; 0 = still.</param>
    public SkyTransfer Through(double seeingArcsec)
    {
        double mean = parts.Sum(p => p.Share * p.Nm);
        return new SkyTransfer([.. parts.Select(p =>
        {
            double strength = Seeing.StrengthFromFwhm(Seeing.ScaleFwhm(seeingArcsec, mean, p.Nm), p.Nm, p.ApertureMm);
            return p with { Air = 0.5 * Seeing.StructureConstant * strength * Math.Pow(p.Cutoff, -5.0 / 3) };
        })]);
    }

    /// <summary>At a frequency, cycles per arcsec along x and y.</summary>
    public Complex At(double x, double y)
    {
        Complex sum = Complex.Zero;
        double f2 = (x * x) + (y * y), air53 = Math.Pow(f2, 5.0 / 6);
        foreach (Part part in parts)
        {
            if (f2 < part.Cutoff * part.Cutoff)
            {
                sum += part.Share * (part.Air > 0 ? Math.Exp(-part.Air * air53) : 1) * part.Pupil(x / part.Cutoff, y / part.Cutoff);
            }
        }

        return sum;
    }

    private static SkyTransfer Of(ViewLight light, double apertureMm, Func<double, int, Func<double, double, Complex>> pupil) => new(
        [.. light.WavelengthsNm.Select((nm, k) => (nm, k)).Where(one => light.Shares[one.k] > 0).Select(one => new Part(
            pupil(one.nm, one.k), light.Shares[one.k], one.nm, apertureMm, apertureMm / (one.nm * 1e-6 * Seeing.ArcsecPerRadian), 0))]);

    private static Func<double, double, Complex> Drawn(PupilMap map, double shiftUm)
    {
        TransferFunction transfer = TransferFunction.Of(map, shiftUm);
        double n = transfer.Samples;
        return (x, y) => Complex.Conjugate(transfer.Between(n * x, n * y));
    }

    /// <summary>One color. Air is what frequency^(5/3) is multiplied with.</summary>
    private sealed record Part(Func<double, double, Complex> Pupil, double Share, double Nm, double ApertureMm, double Cutoff, double Air);
}
