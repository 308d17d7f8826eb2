using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.NightConditions;

/// <summary>What width of the air alone makes a star as wide as it is behind a perfect aperture.</summary>
/// <remarks>By the product of both transfers (<see cref="Seeing.CombinedFwhm"/>), not by squares.</remarks>
internal sealed class AirWidth
{
    // D / r0 of the table's ends: below, the air adds less than a fifth to the diffraction and is not told from it.
    private const double Least = 0.7, Most = 300;
    private const int Steps = 60;
    private readonly double[] logWidth = new double[Steps], logAir = new double[Steps];

    /// <summary>For a telescope.</summary>
    /// <param name="apertureMm">NaN: diffraction is not taken off.</param>
    /// <param name="obstruction">Over the aperture.</param>
    /// <param name="wavelengthNm">Middle of the passband.</param>
    public AirWidth(double apertureMm, double obstruction, double wavelengthNm)
    {
        if (double.IsNaN(apertureMm))
        {
            return;
        }

        Known = true;
        double unit = wavelengthNm * 1e-6 / apertureMm * Seeing.ArcsecPerRadian;
        for (int k = 0; k < Steps; k++)
        {
            double x = Least * Math.Pow(Most / Least, k / (Steps - 1.0));
            logWidth[k] = Math.Log(unit * x * Seeing.CombinedFwhm(x, obstruction));
            logAir[k] = Math.Log(unit * x * Seeing.FwhmFactor);
        }
    }

    /// <summary>Whether diffraction is taken off.</summary>
    public bool Known { get; }

    /// <summary>Narrowest star, arcsec, of which the air's share is told.</summary>
    public double LeastArcsec => Known ? Math.Exp(logWidth[0]) : 0;

    /// <summary>Width by the air, arcsec, and its relative change over that of the star.</summary>
    public (double Width, double Slope) Of(double fwhmArcsec)
    {
        if (!Known)
        {
            return (fwhmArcsec, 1);
        }

        double at = Math.Log(fwhmArcsec);
        int k = Math.Clamp(Array.BinarySearch(logWidth, at) is int found && found >= 0 ? found : ~found - 1, 0, Steps - 2);
        double slope = (logAir[k + 1] - logAir[k]) / (logWidth[k + 1] - logWidth[k]);
        return (Math.Exp(logAir[k] + (slope * (Math.Max(at, logWidth[0]) - logWidth[k]))), slope);
    }
}
