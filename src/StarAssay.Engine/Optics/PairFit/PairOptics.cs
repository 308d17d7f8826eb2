using System.Numerics.Tensors;

namespace StarAssay.Engine.Optics.PairFit;

/// <summary>What is known and held fixed while a pair is fitted.</summary>
/// <param name="Shape">Pupil.</param>
/// <param name="FocalRatio">N.</param>
/// <param name="PitchUm">Pixel pitch, um.</param>
/// <param name="WavelengthsNm">Wavelengths of the band, nm.</param>
/// <param name="Weights">Their shares of the detected light, summing to 1.</param>
/// <param name="JitterPx2">Variance of guiding jitter along each axis, square pixels.</param>
/// <param name="Window">Pixels along each side of the images, a multiple of 16.</param>
internal sealed record PairOptics(PupilShape Shape, double FocalRatio, double PitchUm, double[] WavelengthsNm, double[] Weights, double JitterPx2, int Window)
{
    /// <summary>True: seeing is a Gaussian whose variance in square pixels is the unknown, instead of Kolmogorov's profile.</summary>
    public bool Gaussian { get; init; }

    /// <summary>Image scale of each image over that at focus: a sensor at dz from focus ends a cone of f + dz, so its focal ratio is
    /// N (1 + dz/f).</summary>
    public double[] Stretch { get; init; } = [1, 1];

    /// <summary>Weighted mean wavelength, nm.</summary>
    public double MeanWavelengthNm => TensorPrimitives.Dot<double>(WavelengthsNm, Weights);

    /// <summary>Image of a distance in the pupil plane's tilt: pixels moved for one nm of tilt at the edge.</summary>
    public double PixelsPerTiltNm => -2e-3 * FocalRatio / PitchUm;

    /// <summary>Diameter of the geometric blur in pixels for a W020 in nm.</summary>
    public double BlurPixels(double defocusNm) => 8e-3 * FocalRatio * Math.Abs(defocusNm) / PitchUm;

    /// <summary>Distance from focus in um for a W020 in nm: dz = 8 N N' W020 with N' = N (1 + dz/f).</summary>
    public double DistanceUm(double defocusNm, double focalLengthMm)
    {
        double small = 8e-3 * FocalRatio * FocalRatio * defocusNm;
        return small / (1 - (small * 1e-3 / focalLengthMm));
    }

    /// <summary>W020 in nm for a distance from focus in um.</summary>
    public double DefocusNm(double distanceUm) => distanceUm * 1e3 / (8 * FocalRatio * FocalRatio);

    /// <summary>Strength of seeing in the units of <see cref="TurbulenceLog"/> for an image: blur in pixels grows with the scale.</summary>
    public double StretchedSeeing(double strength, int k) => strength * Math.Pow(Stretch[k], Gaussian ? 2 : 5.0 / 3.0);

    /// <summary>-ln of the long-exposure transfer for (D/r0)^(5/3) = 1 at a frequency in cycles per pixel.</summary>
    public double TurbulenceLog(double cyclesPerPixel) => Gaussian
        ? 2 * Math.PI * Math.PI * cyclesPerPixel * cyclesPerPixel
        : Seeing.StructureConstant / 2 * Math.Pow(cyclesPerPixel / PitchUm * MeanWavelengthNm * 1e-3 * FocalRatio, 5.0 / 3.0);
}
