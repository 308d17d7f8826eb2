using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Simulation;

/// <summary>A telescope that frames are drawn for: what a campaign is to find out.</summary>
public sealed record SimulatedTelescope
{
    /// <summary>Aperture, mm.</summary>
    public required double ApertureMm { get; init; }

    /// <summary>Focal length, mm.</summary>
    public required double FocalLengthMm { get; init; }

    /// <summary>Central obstruction, ratio of diameters.</summary>
    public double Obstruction { get; init; }

    /// <summary>Centre of the obstruction from that of the aperture, radii of the aperture, x.</summary>
    public double ObstructionX { get; init; }

    /// <summary>Centre of the obstruction from that of the aperture, radii of the aperture, y.</summary>
    public double ObstructionY { get; init; }

    /// <summary>Vanes of the secondary.</summary>
    public IReadOnlyList<Vane> Vanes { get; init; } = [];

    /// <summary>Noll numbers of the wavefront errors that are the same all over the field.</summary>
    public IReadOnlyList<int> NollTerms { get; init; } = [];

    /// <summary>Their coefficients, nm RMS over the full circle.</summary>
    public IReadOnlyList<double> CoefficientsNm { get; init; } = [];

    /// <summary>Errors that grow with the field, and the sensor's tilt.</summary>
    public FieldErrors Field { get; init; } = new();

    /// <summary>Wavelengths of the color curves, nm, rising; empty = no color error.</summary>
    public IReadOnlyList<double> ColorWavelengthsNm { get; init; } = [];

    /// <summary>Focus at those wavelengths, um, positive away from the objective.</summary>
    public IReadOnlyList<double> ColorFocusUm { get; init; } = [];

    /// <summary>Image scale at those wavelengths, parts per million; empty = the same for all.</summary>
    public IReadOnlyList<double> LateralColorPpm { get; init; } = [];

    /// <summary>Round stops between telescope and sensor that may cut the cone.</summary>
    public IReadOnlyList<ConeStop> Stops { get; init; } = [];

    private PupilShape Pupil => new() { Obstruction = Obstruction, ObstructionX = ObstructionX, ObstructionY = ObstructionY, Vanes = Vanes };

    /// <summary>Focal ratio.</summary>
    public double FocalRatio => FocalLengthMm / ApertureMm;

    /// <summary>Throws when it cannot be.</summary>
    public void RequireValid()
    {
        _ = Defocus.FocalRatio(ApertureMm, FocalLengthMm);
        Pupil.RequireValid();
        if (NollTerms.Count != CoefficientsNm.Count || NollTerms.Any(n => n < 1))
        {
            throw new InputException("simulation.modes", $"{NollTerms.Count} Noll numbers and {CoefficientsNm.Count} coefficients were given; give one " +
                "coefficient for each number, numbers from 1.", "noll_terms");
        }

        if (ColorFocusUm.Count != ColorWavelengthsNm.Count || ColorWavelengthsNm.Count == 1
            || (LateralColorPpm.Count != 0 && LateralColorPpm.Count != ColorWavelengthsNm.Count))
        {
            throw new InputException("simulation.color", "The color curves need as many values as wavelengths, two at least.", "color_focus_um");
        }

        foreach (ConeStop stop in Stops)
        {
            InputException.RequireRange(stop.ClearDiameterMm, 0.1, 10_000, "clear_diameter", "mm");
            InputException.RequireRange(stop.DistanceMm, 0.01, FocalLengthMm, "distance", "mm");
        }
    }

    /// <summary>Focus at a wavelength, um: smooth through the points of the curve.</summary>
    public double FocusAt(double wavelengthNm) => new LensCurve(ColorWavelengthsNm, ColorFocusUm).At(wavelengthNm);

    /// <summary>Image scale at a wavelength, parts per million.</summary>
    public double ScaleAt(double wavelengthNm) => new LensCurve(ColorWavelengthsNm, LateralColorPpm).At(wavelengthNm);

    /// <summary>Share of the light of a field point that reaches the sensor against the axis: stops and the cosine law.</summary>
    /// <param name="radiusMm">Distance from the optical axis on the sensor, mm.</param>
    public double Illumination(double radiusMm)
    {
        // Cosine to the fourth: thin lens with the stop at the lens.
        double cosine = 1 / Math.Sqrt(1 + ((radiusMm / FocalLengthMm) * (radiusMm / FocalLengthMm)));
        double share = cosine * cosine * cosine * cosine;
        foreach (ConeStop stop in Stops)
        {
            share *= stop.OpenShare(radiusMm, FocalRatio, FocalLengthMm, Obstruction);
        }

        return share;
    }

    /// <summary>The pupil as a field point sees it: the first stop that cuts it takes part of the edge.</summary>
    public PupilShape PupilAt(double xMm, double yMm)
    {
        PupilShape pupil = Pupil;
        foreach (ConeStop stop in Stops)
        {
            double footprint = stop.DistanceMm / (2 * FocalRatio);
            double chief = 1 - (stop.DistanceMm / FocalLengthMm);
            double cx = -xMm * chief / footprint;
            double cy = -yMm * chief / footprint;
            double radius = stop.ClearDiameterMm / 2 / footprint;
            double away = Math.Sqrt((cx * cx) + (cy * cy));
            if (away + 1 > radius && away < radius)
            {
                return pupil with { Vignetting = new VignettedEdge(cx, cy, radius) };
            }
        }

        return pupil;
    }

    /// <summary>True when a stop cuts the pupil of a field point past its middle.</summary>
    /// <param name="radiusMm">Distance from the optical axis on the sensor, mm.</param>
    public bool IsHalfCut(double radiusMm) => Stops.Any(s => radiusMm * (1 - (s.DistanceMm / FocalLengthMm)) >= s.ClearDiameterMm / 2);
}

/// <summary>A round stop (adapter, filter frame) that the cone of light passes.</summary>
/// <param name="ClearDiameterMm">Free diameter, mm.</param>
/// <param name="DistanceMm">Distance before the sensor, mm.</param>
public sealed record ConeStop(double ClearDiameterMm, double DistanceMm)
{
    /// <summary>Share of the cone that passes: the overlap of two circles.</summary>
    public double OpenShare(double radiusMm, double focalRatio, double focalLengthMm, double obstruction)
    {
        double cone = DistanceMm / (2 * focalRatio);
        double away = radiusMm * (1 - (DistanceMm / focalLengthMm));
        double open = Circles.Overlap(cone, ClearDiameterMm / 2, away) - Circles.Overlap(obstruction * cone, ClearDiameterMm / 2, away);
        return open / (Math.PI * cone * cone * (1 - (obstruction * obstruction)));
    }
}
