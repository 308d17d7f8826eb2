using System.Numerics.Tensors;
using MathNet.Numerics.RootFinding;

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
    // Of a star of 1e8 electrons, defocused by five waves or more, the frequencies left out hold less than a hundredth of the noise.
    private const double Unseen = 3e-4;

    /// <summary>True: seeing is a Gaussian whose variance in square pixels is the unknown, instead of Kolmogorov's profile.</summary>
    public bool Gaussian { get; init; }

    /// <summary>Image scale of each image over that at focus: a sensor at dz from focus ends a cone of f + dz, so its focal ratio is
    /// N (1 + dz/f).</summary>
    public double[] Stretch { get; init; } = [1, 1];

    /// <summary>Strength of seeing that both images are sure to have, in the unknown's unit, 0 where nothing is known of it: finer detail than passes
    /// through it need not be drawn.</summary>
    public double LeastSeeing { get; init; }

    /// <summary>Highest frequency that the aperture of the shortest wavelength passes, cycles per pixel.</summary>
    public double Cutoff => PitchUm / (WavelengthsNm.Min() * 1e-3 * FocalRatio);

    /// <summary>Frequency in cycles per pixel beyond which a perfect telescope behind the least seeing keeps less of the contrast than is seen.</summary>
    public double HighestPassed => LeastSeeing <= 0 || Passed(Cutoff * (1 - 1e-6)) > Unseen ? Cutoff
        : Brent.FindRoot(f => Passed(f) - Unseen, 0, Cutoff * (1 - 1e-6), 1e-6 * Cutoff, 200);

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

    private double Passed(double cyclesPerPixel) => Airy.Mtf(cyclesPerPixel / Cutoff)
        * Math.Exp(-(LeastSeeing * TurbulenceLog(cyclesPerPixel)) - (2 * Math.PI * Math.PI * JitterPx2 * cyclesPerPixel * cyclesPerPixel));
}
