using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.FocusSurface;

/// <summary>Best focus over the sensor: sensor position at which the stars of a place are smallest, growing away from the objective.</summary>
/// <remarks>Pixels are counted from 0, x right, y up. The mean of tangential and sagittal focus is meant.</remarks>
public sealed record FocusSurfaceResult : IMeasurementResult
{
    /// <summary>Best focus in the middle of the sensor, a position of the run.</summary>
    public required Measured BestFocus { get; init; }

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

    /// <summary>Best focus over the whole sensor, largest less least.</summary>
    public required Measured FocusSpread { get; init; }

    /// <summary>Tangential less sagittal focus at the corners, their mean round the sensor; NaN when too few stars have a shape.</summary>
    public required Measured AstigmaticSplit { get; init; }

    /// <summary>Distance of the two foci of a star in the middle of the sensor.</summary>
    public required Measured MiddleSplit { get; init; }

    /// <summary>Direction of the lines that stars there become outside of focus: from +x towards +y.</summary>
    public required double MiddleSplitDirectionDeg { get; init; }

    /// <summary>By how much coma, astigmatism and trefoil together may move the place where stars are smallest, root mean square over the field; what of
    /// it tilts or bends the surface is in the uncertainties.</summary>
    public required double AberrationShiftUm { get; init; }

    /// <summary>Depth of focus to either side, 2 wavelength N^2: a quarter wave of defocus.</summary>
    public required double DepthOfFocusUm { get; init; }

    /// <summary>Share of the sensor within the depth of focus at the best position for the whole.</summary>
    public required double InFocusShare { get; init; }

    /// <summary>The same with the tilt cured.</summary>
    public required double InFocusShareLevel { get; init; }

    /// <summary>Position that serves most of the sensor.</summary>
    public required double BestPositionUm { get; init; }

    /// <summary>By how much the focuser stands farther from the objective when it moved towards it than when it moved away;
    /// NaN for a run in one direction.</summary>
    public required Measured Backlash { get; init; }

    /// <summary>How much larger the blur grows with the focuser than focal ratio and positions say; 1 = as they say.</summary>
    public required double BlurGrowth { get; init; }

    /// <summary>Sensor position of each frame.</summary>
    public required double[] PositionsUm { get; init; }

    /// <summary>Median half-flux radius of each frame; NaN for a frame left out.</summary>
    public required double[] FrameHfrUm { get; init; }

    /// <summary>The same as the fit has it.</summary>
    public required double[] FrameModelUm { get; init; }

    /// <summary>Stars of each frame behind the fit; 0 for a frame left out.</summary>
    public required int[] FrameStars { get; init; }

    /// <summary>Column of each star in the frame with the most stars.</summary>
    [Field(Unit = "pix")]
    public required double[] X { get; init; }

    /// <summary>Row of each star.</summary>
    [Field(Unit = "pix")]
    public required double[] Y { get; init; }

    /// <summary>Best focus of each star by itself.</summary>
    public required double[] StarFocusUm { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    public required double[] StarFocusUncertaintyUm { get; init; }

    /// <summary>The surface at each star.</summary>
    public required double[] SurfaceUm { get; init; }

    /// <summary>The surface: z = c0 + c1 u + c2 v + c3 (u^2 + v^2), u and v from the middle over half the diagonal.</summary>
    [Field(Unit = "um")]
    public required double[] Coefficients { get; init; }

    /// <summary>Columns of the frames.</summary>
    public required int Width { get; init; }

    /// <summary>Rows of the frames.</summary>
    public required int Height { get; init; }

    /// <summary>Pixel pitch.</summary>
    public required double PitchUm { get; init; }

    /// <summary>Numbers that a claim can be about.</summary>
    public required IReadOnlyList<Quantity> Quantities { get; init; }

    /// <summary>What the reader must know.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}
