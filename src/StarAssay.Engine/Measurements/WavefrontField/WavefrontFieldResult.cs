using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>The low modes of the wavefront over the sensor.</summary>
/// <remarks>
/// Pixels are counted from 0, x right, y up. Modes are circle polynomials in nm RMS, Noll's numbers, pupil axes parallel to the sensor's.
/// Terms that grow with the field are given at the corner, half the diagonal from the sensor's middle. Directions run from +x towards +y.
/// </remarks>
public sealed record WavefrontFieldResult : IMeasurementResult
{
    /// <summary>By how much the best focus lies farther from the objective at the right edge than at the left, by its slope in the middle.</summary>
    public required Measured TiltAcrossWidth { get; init; }

    /// <summary>The same at the upper edge against the lower.</summary>
    public required Measured TiltAcrossHeight { get; init; }

    /// <summary>Largest difference of both from corner to corner.</summary>
    public required Measured SensorTilt { get; init; }

    /// <summary>Angle between sensor and best plane.</summary>
    public required Measured TiltAngle { get; init; }

    /// <summary>Side of the sensor that has to come away from the objective: from +x towards +y.</summary>
    public required double TiltDirectionDeg { get; init; }

    /// <summary>Best focus of the corners less that of the middle, tilt taken off; negative: the surface bends towards the objective.</summary>
    public required Measured CurvatureSag { get; init; }

    /// <summary>Radius of the surface: r^2 / (2 sag), negative towards the objective; its uncertainty is NaN where a flat surface is within two
    /// standard uncertainties.</summary>
    public required Measured CurvatureRadius { get; init; }

    /// <summary>Coma in the middle of the sensor, noise taken off.</summary>
    public required Measured ComaConstant { get; init; }

    /// <summary>Noll 8 in the middle.</summary>
    public required Measured ComaConstantX { get; init; }

    /// <summary>Noll 7 in the middle.</summary>
    public required Measured ComaConstantY { get; init; }

    /// <summary>Coma that grows with the distance from the axis, at the corner; positive where its Noll 8 grows to the right.</summary>
    public required Measured ComaLinear { get; init; }

    /// <summary>Where the coma-free axis meets the sensor, by the coma of these stars alone; its uncertainty holds what moving air leaves in
    /// all of them alike.</summary>
    public required ComaFreePoint ComaFree { get; init; }

    /// <summary>The same with the growth of a single paraboloid's coma; null where the objective is not said to be one.</summary>
    public required ComaFreePoint? ComaFreeByTheory { get; init; }

    /// <summary>Place without coma by these stars alone, from the sensor's middle; NaN where it is not told.</summary>
    public required Measured ComaNodeX { get; init; }

    /// <summary>The same upwards.</summary>
    public required Measured ComaNodeY { get; init; }

    /// <summary>Astigmatism in the middle of the sensor, noise taken off.</summary>
    public required Measured AstigmatismConstant { get; init; }

    /// <summary>Noll 6 in the middle.</summary>
    public required Measured AstigmatismConstantX { get; init; }

    /// <summary>Noll 5 in the middle.</summary>
    public required Measured AstigmatismConstantY { get; init; }

    /// <summary>Astigmatism that grows with the field, at the corner, noise taken off.</summary>
    public required Measured AstigmatismLinear { get; init; }

    /// <summary>Its part along Noll 6 for a corner to the right.</summary>
    public required Measured AstigmatismLinearX { get; init; }

    /// <summary>Its part along Noll 5 for a corner to the right.</summary>
    public required Measured AstigmatismLinearY { get; init; }

    /// <summary>Astigmatism that grows with the squared field, at the corner; positive where Noll 6 grows to the right.</summary>
    public required Measured AstigmatismQuadratic { get; init; }

    /// <summary>Tangential less sagittal focus at the corner by the quadratic part.</summary>
    public required Measured AstigmaticSplit { get; init; }

    /// <summary>Places without astigmatism, from the sensor's middle, column; empty where the quadratic part does not tell them.</summary>
    [Field(Unit = "mm")]
    public required double[] NodeX { get; init; }

    /// <summary>The same, row.</summary>
    [Field(Unit = "mm")]
    public required double[] NodeY { get; init; }

    /// <summary>Standard uncertainty of each node along either axis.</summary>
    public required double[] NodeUncertaintyMm { get; init; }

    /// <summary>Spherical aberration, the same all over the field; positive is undercorrection.</summary>
    public required Measured Spherical { get; init; }

    /// <summary>Trefoil, the same all over the field, noise taken off.</summary>
    public required Measured Trefoil { get; init; }

    /// <summary>Noll 10.</summary>
    public required Measured TrefoilX { get; init; }

    /// <summary>Noll 9.</summary>
    public required Measured TrefoilY { get; init; }

    /// <summary>Wavefront error of these modes in the middle of the sensor, focused there.</summary>
    public required Measured RmsMiddle { get; init; }

    /// <summary>The same with the sensor where the whole of it is best, focus included, mean square over the sensor.</summary>
    public required Measured RmsSensor { get; init; }

    /// <summary>The same with the camera leveled.</summary>
    public required double RmsSensorLevelNm { get; init; }

    /// <summary>Column of the place that is best when the sensor stands best for the whole of it.</summary>
    [Field(Unit = "pix")]
    public required double BestX { get; init; }

    /// <summary>Row of that place.</summary>
    [Field(Unit = "pix")]
    public required double BestY { get; init; }

    /// <summary>Sensor from best focus in the middle, first frame, negative inside.</summary>
    public required Measured InsideDistance { get; init; }

    /// <summary>The same, second frame.</summary>
    public required Measured OutsideDistance { get; init; }

    /// <summary>By how much the way of the focuser between the frames differs from one corner to the opposite one: flexure.</summary>
    public required Measured TravelTilt { get; init; }

    /// <summary>Seeing of each frame, FWHM of the Kolmogorov long exposure.</summary>
    public required double[] SeeingArcsec { get; init; }

    /// <summary>Depth of focus to either side, 2 wavelength N^2: a quarter wave of defocus.</summary>
    public required double DepthOfFocusUm { get; init; }

    /// <summary>Scatter of single stars about the laws beside their photons: focus.</summary>
    public required double ScatterFocusUm { get; init; }

    /// <summary>The same for coma, astigmatism, spherical aberration, trefoil.</summary>
    [Field(Unit = "nm")]
    public required double[] Scatter { get; init; }

    /// <summary>Median chi squared per degree of freedom of the stars.</summary>
    public required double ChiSquared { get; init; }

    /// <summary>Column of each star, mean of both frames.</summary>
    [Field(Unit = "pix")]
    public required double[] X { get; init; }

    /// <summary>Row of each star.</summary>
    [Field(Unit = "pix")]
    public required double[] Y { get; init; }

    /// <summary>Best focus at each star, a sensor position from that in the middle of the sensor.</summary>
    public required double[] StarFocusUm { get; init; }

    /// <summary>Its standard uncertainty, scatter included.</summary>
    public required double[] StarFocusUncertaintyUm { get; init; }

    /// <summary>Modes of each star, Noll 5 to 11.</summary>
    public required double[,] CoefficientNm { get; init; }

    /// <summary>Their standard uncertainties by photons alone.</summary>
    public required double[,] CoefficientUncertaintyNm { get; init; }

    /// <summary>Chi squared per degree of freedom of each star.</summary>
    public required double[] StarChiSquared { get; init; }

    /// <summary>Modes from Noll 12 on that were taken as the same for all stars.</summary>
    public required double[] FinerNm { get; init; }

    /// <summary>Focus: z = c1 u + c2 v + c3 (u^2 + v^2), u and v from the middle over half the diagonal.</summary>
    [Field(Unit = "um")]
    public required double[] FocusTerms { get; init; }

    /// <summary>Coma: Noll 8 + i Noll 7 = c0 + i c1 + c2 (u + iv).</summary>
    [Field(Unit = "nm")]
    public required double[] ComaTerms { get; init; }

    /// <summary>Astigmatism: Noll 6 + i Noll 5 = b0 + i b1 + (b2 + i b3) (u + iv) + b4 (u + iv)^2.</summary>
    [Field(Unit = "nm")]
    public required double[] AstigmatismTerms { get; init; }

    /// <summary>Columns of the frames.</summary>
    public required int Width { get; init; }

    /// <summary>Rows of the frames.</summary>
    public required int Height { get; init; }

    /// <summary>Pixel pitch.</summary>
    public required double PitchUm { get; init; }

    /// <summary>Focal ratio.</summary>
    public required double FocalRatio { get; init; }

    /// <summary>Wavelength.</summary>
    public required double WavelengthNm { get; init; }

    /// <summary>False when notes of doubt forbid using the numbers to decide.</summary>
    public required bool Decided { get; init; }

    /// <summary>Numbers that a claim can be about.</summary>
    public required IReadOnlyList<Quantity> Quantities { get; init; }

    /// <summary>What the reader must know.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}
