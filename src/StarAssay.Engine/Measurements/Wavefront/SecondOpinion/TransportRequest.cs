using StarAssay.Engine.Optics;

namespace StarAssay.Engine.Measurements.Wavefront.SecondOpinion;

/// <summary>One defocused image, cut out round the star.</summary>
/// <param name="Pixels">Electrons above the background, rows along x, lowest y first.</param>
/// <param name="Variance">Variance of each pixel, electrons squared.</param>
/// <param name="Bad">True where a pixel must not be used; filled from its neighbors.</param>
/// <param name="Width">Pixels along x.</param>
/// <param name="Height">Pixels along y.</param>
/// <param name="DefocusUm">Sensor position from best focus, negative inside.</param>
public sealed record TransportImage(float[] Pixels, float[] Variance, bool[] Bad, int Width, int Height, double DefocusUm);

/// <summary>What the second opinion needs.</summary>
public sealed record TransportRequest
{
    /// <summary>Image nearer to the objective than best focus.</summary>
    public required TransportImage Inside { get; init; }

    /// <summary>Image beyond best focus.</summary>
    public required TransportImage Outside { get; init; }

    /// <summary>What passes light.</summary>
    public required PupilShape Pupil { get; init; }

    /// <summary>Focal ratio.</summary>
    public required double FocalRatio { get; init; }

    /// <summary>Focal length, mm: the image scale grows with the sensor's distance from focus over it. Infinite = it does not.</summary>
    public double FocalLengthMm { get; init; } = double.PositiveInfinity;

    /// <summary>Pixel pitch, um.</summary>
    public required double PitchUm { get; init; }

    /// <summary>Mean wavelength, nm.</summary>
    public required double WavelengthNm { get; init; }

    /// <summary>Full width at half maximum of seeing and guiding together, in pixels. The answer hardly depends on it:
    /// blur is the same in both images.</summary>
    public double BlurFwhmPixels { get; init; }

    /// <summary>Highest Noll index. Modes beyond it that the wavefront has are mistaken for lower ones, at about their own size.</summary>
    public int LastNoll { get; init; } = 28;

    /// <summary>What is known from elsewhere of the wavefront beyond <see cref="LastNoll"/>, nm at a point of the pupil; it is held.</summary>
    internal Func<double, double, double>? KnownNm { get; init; }
}

/// <summary>The second opinion's wavefront.</summary>
/// <param name="Noll">Noll indices, from 4. Number 4 only takes up what is wrong in the two distances.</param>
/// <param name="CoefficientNm">Coefficients, RMS nm over the full disc.</param>
/// <param name="UncertaintyNm">Standard uncertainties: noise and the method's own share.</param>
/// <param name="NoiseNm">The part from photons and read noise, which several pairs average.</param>
/// <param name="MethodNm">The method's own part for each mode, which they do not.</param>
/// <param name="RmsNm">Root of the sum of squares from Noll 5 on.</param>
/// <param name="Iterations">Corrections made.</param>
/// <param name="Converged">False when the last correction was still above 0.1 nm.</param>
public sealed record TransportEstimate(int[] Noll, double[] CoefficientNm, double[] UncertaintyNm, double[] NoiseNm, double MethodNm, double RmsNm,
    int Iterations, bool Converged);
