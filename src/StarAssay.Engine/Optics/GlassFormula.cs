using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>How a maker's dispersion coefficients are to be used; L is the wavelength in micrometres.</summary>
public enum DispersionFormula
{
    /// <summary>n^2 - 1 = A + sum B L^2 / (L^2 - C), coefficients A, B1, C1, B2, C2, ...</summary>
    Sellmeier,

    /// <summary>The same with C given as a length that is squared: n^2 - 1 = A + sum B L^2 / (L^2 - C^2).</summary>
    SellmeierSquared,

    /// <summary>n^2 = A + sum B L^C, coefficients A, B1, C1, B2, C2, ...</summary>
    Power,
}

/// <summary>One optical material, its index relative to air.</summary>
/// <param name="Name">The maker's name of the glass.</param>
/// <param name="Maker">Who makes or who measured it.</param>
/// <param name="Formula">Which dispersion formula the coefficients belong to.</param>
/// <param name="Coefficients">As published.</param>
/// <param name="MinWavelengthNm">Shortest wavelength the formula was fitted to.</param>
/// <param name="MaxWavelengthNm">Longest wavelength the formula was fitted to.</param>
/// <param name="TemperatureC">Temperature of the measurement; NaN when the source does not say.</param>
/// <param name="PrintedNd">Index at 587.56 nm as the source prints it; NaN when it prints none.</param>
/// <param name="PrintedVd">Abbe number as the source prints it.</param>
public sealed record Glass(string Name, string Maker, DispersionFormula Formula, double[] Coefficients,
    double MinWavelengthNm, double MaxWavelengthNm, double TemperatureC, double PrintedNd, double PrintedVd)
{
    /// <summary>Index of refraction relative to air.</summary>
    /// <exception cref="InputException">Outside the range that the formula was fitted to: it diverges there.</exception>
    public double Index(double wavelengthNm)
    {
        if (!(wavelengthNm >= MinWavelengthNm && wavelengthNm <= MaxWavelengthNm))
        {
            throw new InputException("glass.range",
                $"The dispersion formula of {Name} ({Maker}) holds from {MinWavelengthNm} to {MaxWavelengthNm} nm, not at {wavelengthNm} nm. Choose another " +
                    "glass or a narrower band.",
                "wavelength_nm", Name);
        }

        double l = wavelengthNm / 1000;
        double l2 = l * l;
        double n2 = Coefficients[0] + (Formula == DispersionFormula.Power ? 0 : 1);
        for (int i = 1; i + 1 < Coefficients.Length; i += 2)
        {
            double b = Coefficients[i];
            double c = Coefficients[i + 1];
            n2 += Formula switch
            {
                DispersionFormula.Sellmeier => b * l2 / (l2 - c),
                DispersionFormula.SellmeierSquared => b * l2 / (l2 - (c * c)),
                _ => b * Math.Pow(l, c),
            };
        }

        return Math.Sqrt(n2);
    }

    /// <summary>Abbe number (n_d - 1) / (n_F - n_C).</summary>
    public double AbbeNumber => (Index(SpectralLine.D) - 1) / (Index(SpectralLine.F) - Index(SpectralLine.C));

    /// <summary>Relative partial dispersion (n_x - n_y) / (n_F - n_C).</summary>
    public double PartialDispersion(double xNm, double yNm) =>
        (Index(xNm) - Index(yNm)) / (Index(SpectralLine.F) - Index(SpectralLine.C));
}

/// <summary>The lines by which glass is described, nm in air (ISO 7944; Schott glass catalogue).</summary>
public static class SpectralLine
{
    /// <summary>Mercury h.</summary>
    public const double H = 404.6561;

    /// <summary>Mercury g.</summary>
    public const double G = 435.8343;

    /// <summary>Hydrogen F.</summary>
    public const double F = 486.1327;

    /// <summary>Mercury e.</summary>
    public const double E = 546.0740;

    /// <summary>Helium d.</summary>
    public const double D = 587.5618;

    /// <summary>Hydrogen C.</summary>
    public const double C = 656.2725;

    /// <summary>Helium r.</summary>
    public const double R = 706.5188;
}
