using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>How far scale, wavelength and obstruction of the fit's model are from the stated ones, as shares of them.</summary>
/// <param name="Scale">Of the pixels' size over the focal length.</param>
/// <param name="Wavelength">Of all wavelengths of the band.</param>
/// <param name="Obstruction">Of the ratio of diameters.</param>
internal readonly record struct InputOffsets(double Scale, double Wavelength, double Obstruction)
{
    /// <summary>The optics with them.</summary>
    public PairOptics On(PairOptics o)
    {
        double longer = 1 + Wavelength;
        return this == default ? o : o with
        {
            PitchUm = o.PitchUm * (1 + Scale),
            WavelengthsNm = [.. o.WavelengthsNm.Select(l => l * longer)],
            Shape = o.Shape with { Obstruction = Math.Min(0.94, o.Shape.Obstruction * (1 + Obstruction)) },
        };
    }
}
