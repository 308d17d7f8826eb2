using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>All stars of a frame, one array a quantity, brightest first. Positions in pixels, centers at whole numbers from 0,
/// x right, y up; brightness in ADU; NaN where something could not be measured.</summary>
public sealed record StarField : IMeasurementResult
{
    /// <summary>Center.</summary>
    [Field(Unit = "pix")]
    public required double[] X { get; init; }

    /// <summary>Center.</summary>
    [Field(Unit = "pix")]
    public required double[] Y { get; init; }

    /// <summary>Standard uncertainty of X, pixels.</summary>
    [Field(Unit = "pix")]
    public required double[] XUncertainty { get; init; }

    /// <summary>Standard uncertainty of Y, pixels.</summary>
    [Field(Unit = "pix")]
    public required double[] YUncertainty { get; init; }

    /// <summary>Light inside <see cref="OuterRadiusPx"/>, ADU.</summary>
    [Field(Unit = "adu")]
    public required double[] Flux { get; init; }

    /// <summary>Standard uncertainty of Flux, ADU.</summary>
    [Field(Unit = "adu")]
    public required double[] FluxUncertainty { get; init; }

    /// <summary>Brightest pixel above the sky, ADU.</summary>
    [Field(Unit = "adu")]
    public required double[] Peak { get; init; }

    /// <summary>Sky level at the star, ADU.</summary>
    [Field(Unit = "adu")]
    public required double[] Sky { get; init; }

    /// <summary>Noise of a sky pixel at the star, ADU.</summary>
    [Field(Unit = "adu")]
    public required double[] SkyNoise { get; init; }

    /// <summary>Signal-to-noise ratio by the CCD equation in a circle of <see cref="SnrRadiusPx"/>.</summary>
    public required double[] Snr { get; init; }

    /// <summary>Half-flux radius of the light that fell on the pixels, their own blur taken out, pixels.</summary>
    [Field(Unit = "pix")]
    public required double[] Hfr { get; init; }

    /// <summary>Standard uncertainty of Hfr (random part), pixels.</summary>
    [Field(Unit = "pix")]
    public required double[] HfrUncertainty { get; init; }

    /// <summary>Half-flux radius of the recorded pixels taken as uniform squares, pixels.</summary>
    [Field(Unit = "pix")]
    public required double[] HfrRecorded { get; init; }

    /// <summary>Full width at half maximum of the fitted Moffat profile (geometric mean of the axes), pixels, the pixels' blur
    /// taken out; NaN without a fit.</summary>
    [Field(Unit = "pix")]
    public required double[] Fwhm { get; init; }

    /// <summary>Standard uncertainty of Fwhm, pixels.</summary>
    [Field(Unit = "pix")]
    public required double[] FwhmUncertainty { get; init; }

    /// <summary>Full width at half maximum of the star's own profile, whatever its form (geometric mean of the axes), pixels, the pixels' blur
    /// taken out; of a disc or ring out of focus its diameter. NaN where no profile was fitted.</summary>
    [Field(Unit = "pix")]
    public required double[] ProfileFwhm { get; init; }

    /// <summary>Standard uncertainty of ProfileFwhm, pixels.</summary>
    [Field(Unit = "pix")]
    public required double[] ProfileFwhmUncertainty { get; init; }

    /// <summary>Exponent beta of the Moffat profile.</summary>
    public required double[] MoffatBeta { get; init; }

    /// <summary>1 - b/a of the adaptive moments, pixels' blur and noise bias taken out.</summary>
    public required double[] Ellipticity { get; init; }

    /// <summary>Standard uncertainty of each ellipticity component.</summary>
    public required double[] EllipticityUncertainty { get; init; }

    /// <summary>Direction of the long axis, degrees from +x towards +y, -90 to 90.</summary>
    public required double[] PositionAngleDeg { get; init; }

    /// <summary>Part of the ellipticity along the line to the optical axis: positive radial, negative tangential.</summary>
    public required double[] RadialEllipticity { get; init; }

    /// <summary>Part at 45 degrees to that line, positive counterclockwise.</summary>
    public required double[] CrossEllipticity { get; init; }

    /// <summary>Standard deviation of the Gaussian ellipse's long axis, pixels, pixels' blur taken out.</summary>
    [Field(Unit = "pix")]
    public required double[] SigmaMajor { get; init; }

    /// <summary>Standard deviation of the Gaussian ellipse's short axis, pixels, pixels' blur taken out.</summary>
    [Field(Unit = "pix")]
    public required double[] SigmaMinor { get; init; }

    /// <summary>Distance from the optical axis, pixels.</summary>
    public required double[] AxisDistancePx { get; init; }

    /// <summary>Sum of <see cref="StarMarks"/>.</summary>
    [Field(Flags = typeof(StarMarks))]
    public required int[] Flags { get; init; }

    /// <summary>Summary by part of the field.</summary>
    public required IReadOnlyList<ZoneSummary> Zones { get; init; }

    /// <summary>Median half-flux radius of the clean stars.</summary>
    public required Measured MedianHfr { get; init; }

    /// <summary>Median FWHM of the clean stars, of the fitted Moffat profiles.</summary>
    public required Measured MedianFwhm { get; init; }

    /// <summary>Median FWHM of the clean stars, of their own profiles.</summary>
    public required Measured MedianProfileFwhm { get; init; }

    /// <summary>Root mean square ellipticity of the clean stars, noise taken out.</summary>
    public required Measured TypicalEllipticity { get; init; }

    /// <summary>Number of clean stars behind the medians.</summary>
    public required int CleanStars { get; init; }

    /// <summary>Radius of the circle that counts as the whole star, pixels.</summary>
    public required double OuterRadiusPx { get; init; }

    /// <summary>Radius of the circle of the signal-to-noise ratio, pixels.</summary>
    public required double SnrRadiusPx { get; init; }

    /// <summary>Level from which on pixels count as clipped, ADU; NaN when not known.</summary>
    public required double SaturationAdu { get; init; }

    /// <summary>Median sky level, ADU.</summary>
    [Field(Unit = "adu")]
    public required double MedianSky { get; init; }

    /// <summary>Median noise of a sky pixel, ADU.</summary>
    [Field(Unit = "adu")]
    public required double MedianSkyNoise { get; init; }

    /// <summary>Noise of the smoothed sky over that of independent pixels.</summary>
    public required double NoiseCorrelation { get; init; }

    /// <summary>Columns of the frame.</summary>
    public required int Width { get; init; }

    /// <summary>Rows of the frame.</summary>
    public required int Height { get; init; }

    /// <summary>Column and row of the optical axis used.</summary>
    [Field(Unit = "pix")]
    public required double[] Axis { get; init; }

    /// <summary>Side of a pixel on the sky; NaN when not known.</summary>
    public double PixelScaleArcsecPerPx { get; init; } = double.NaN;

    /// <summary>True when the sky itself gave the scale, false when it comes from nominal pitch and focal length.</summary>
    public bool ScaleFromSky { get; init; }

    /// <summary>Central wavelength of the filter, nm; NaN when not known.</summary>
    public double FilterWavelengthNm { get; init; } = double.NaN;

    /// <summary>What the reader must know.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }

    /// <summary>Numbers that a claim can be about; none when too few stars are clean.</summary>
    public IReadOnlyList<Quantity> Quantities => FieldFigures.Of(this);
}

/// <summary>One part of the field.</summary>
/// <param name="Zone">"center", "middle", "edge", or a corner: "bottom-left", "bottom-right", "top-left", "top-right"
/// (y up). Corners are also part of the edge.</param>
/// <param name="Stars">Clean stars in it.</param>
/// <param name="Hfr">Median half-flux radius.</param>
/// <param name="Fwhm">Median Moffat FWHM.</param>
/// <param name="Ellipticity">Root mean square ellipticity, noise taken out.</param>
/// <param name="RadialEllipticity">Mean radial component (positive: elongated towards the axis).</param>
public sealed record ZoneSummary(string Zone, int Stars, Measured Hfr, Measured Fwhm, Measured Ellipticity, Measured RadialEllipticity);
