using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>One wavelength of a passband, with what the telescope and the air do to it.</summary>
/// <param name="WavelengthNm">Wavelength, nm.</param>
/// <param name="Weight">Share of the detected light; weights are normalised where they are used.</param>
/// <param name="FocusShiftUm">Where this wavelength focuses, against the reference, positive away from the objective.</param>
/// <param name="RadialScalePpm">Its image scale against the reference, parts per million (lateral color); whoever knows the field point turns it
/// into an offset.</param>
/// <param name="OffsetXUm">Constant displacement in the focal plane, to the right (atmospheric dispersion).</param>
/// <param name="OffsetYUm">The same, upwards.</param>
public sealed record SpectralSample(
    double WavelengthNm,
    double Weight = 1,
    double FocusShiftUm = 0,
    double RadialScalePpm = 0,
    double OffsetXUm = 0,
    double OffsetYUm = 0)
{
    /// <summary>Throws unless there is light at possible wavelengths; gives the sum of the weights.</summary>
    public static double RequireValid(IReadOnlyList<SpectralSample> spectrum)
    {
        double total = 0;
        foreach (SpectralSample sample in spectrum)
        {
            InputException.RequireRange(sample.WavelengthNm, 100, 30000, "wavelength", "nm");
            InputException.RequireRange(sample.Weight, 0, double.MaxValue, "weight", string.Empty);
            total += sample.Weight;
        }

        return total > 0
            ? total
            : throw new InputException("spectrum.empty", "The passband holds no light: give at least one wavelength with a weight above 0.", "spectrum");
    }
}
