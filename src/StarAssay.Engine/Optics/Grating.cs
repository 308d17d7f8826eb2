using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>A plane transmission grating in the converging beam of a telescope, the sensor square to the axis.</summary>
/// <param name="LinesPerMm">Grooves a millimetre.</param>
/// <param name="DistanceMm">Grating to sensor along the axis.</param>
/// <param name="IncidenceDeg">Angle of incidence of the axis ray on the grating.</param>
/// <param name="Order">Diffraction order.</param>
/// <remarks>Grating equation m L = d (sin a + sin b) and focal equations 1/r + 1/r' = 0 (sagittal), cos^2 a / r +
/// cos^2 b / r' = 0 (tangential): Palmer, "Diffraction Grating Handbook"; Schroeder, "Astronomical Optics".</remarks>
public sealed record Grating(double LinesPerMm, double DistanceMm, double IncidenceDeg = 0, int Order = 1)
{
    /// <summary>Angle between the diffracted ray and the grating's normal, degrees.</summary>
    public double DiffractionAngleDeg(double wavelengthNm) => Math.Asin(SinB(wavelengthNm)) * 180 / Math.PI;

    /// <summary>How much nearer to the objective the sagittal focus lies than it would without the grating, um.
    /// It is the one that sets the width across the dispersion.</summary>
    public double SagittalShorteningUm(double wavelengthNm) => 1000 * DistanceMm * (1 - CosRatio(wavelengthNm));

    /// <summary>The same for the tangential focus, which sets the resolution along the dispersion, um.</summary>
    public double TangentialShorteningUm(double wavelengthNm)
    {
        double cosA = Math.Cos(IncidenceDeg * Math.PI / 180);
        double cosB = CosB(wavelengthNm);
        return 1000 * DistanceMm * (1 - (cosB * cosB * cosB / (cosA * cosA * cosA)));
    }

    /// <summary>Place on the sensor, mm from where the undiffracted axis ray (zero order) falls; exact.</summary>
    public double PositionMm(double wavelengthNm)
    {
        double a = IncidenceDeg * Math.PI / 180;
        double b = Math.Asin(SinB(wavelengthNm));
        return DistanceMm * Math.Tan(b + a);
    }

    /// <summary>Wavelength that falls at a place on the sensor, nm.</summary>
    public double WavelengthAtNm(double positionMm)
    {
        double a = IncidenceDeg * Math.PI / 180;
        double b = Math.Atan(positionMm / DistanceMm) - a;
        return 1e6 * (Math.Sin(a) + Math.Sin(b)) / (LinesPerMm * Order);
    }

    /// <summary>Dispersion on the plane sensor, nm per mm: 1e6 cos^3 b / (k m d') at normal incidence.</summary>
    public double DispersionNmPerMm(double wavelengthNm)
    {
        double a = IncidenceDeg * Math.PI / 180;
        double b = Math.Asin(SinB(wavelengthNm));
        double cos = Math.Cos(b + a);
        return 1e6 * Math.Cos(b) * cos * cos / (Order * LinesPerMm * DistanceMm);
    }

    /// <summary>Theoretical resolving power: order times grooves lit by a beam of this focal ratio.</summary>
    public double ResolvingPower(double focalRatio) => Math.Abs(Order) * LinesPerMm * DistanceMm / focalRatio;

    private double CosRatio(double wavelengthNm) => CosB(wavelengthNm) / Math.Cos(IncidenceDeg * Math.PI / 180);

    private double CosB(double wavelengthNm)
    {
        double s = SinB(wavelengthNm);
        return Math.Sqrt(1 - (s * s));
    }

    private double SinB(double wavelengthNm)
    {
        double s = (Order * wavelengthNm * LinesPerMm * 1e-6) - Math.Sin(IncidenceDeg * Math.PI / 180);
        return Math.Abs(s) < 1
            ? s
            : throw new InputException("grating.no-order", $"A grating of {LinesPerMm} lines/mm sends no order {Order} of {wavelengthNm} nm anywhere. Check " +
                "lines per millimetre and order.", "lines_per_mm");
    }
}
