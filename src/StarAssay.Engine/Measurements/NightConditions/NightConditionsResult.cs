using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.NightConditions;

/// <summary>What a night did to the stars, frame by frame in order of time, and what of it changes with time.</summary>
public sealed record NightConditionsResult : IMeasurementResult
{
    /// <summary>Typical FWHM over the hours of the frames, reduced to the zenith and 500 nm, diffraction taken off where the aperture is known. The bar
    /// holds how little a few hours of wandering air say. At most that much is the air's: optics, focus and mount are in it.</summary>
    public required Measured ZenithFwhm { get; init; }

    /// <summary>A quarter of the frames lie below, reduced alike.</summary>
    public required double LowerQuartileArcsec { get; init; }

    /// <summary>A quarter of the frames lie above.</summary>
    public required double UpperQuartileArcsec { get; init; }

    /// <summary>Steady change of the reduced FWHM through the night; NaN from too few frames.</summary>
    public required Measured Trend { get; init; }

    /// <summary>What the trend was told to be: "rising", "falling", or "not decided".</summary>
    public required string TrendVerdict { get; init; }

    /// <summary>Relative scatter of the frames about level and trend, measurement noise taken out.</summary>
    [Field(Unit = "%")]
    public required double FrameScatter { get; init; }

    /// <summary>As many frames without correlation would tell the level as well.</summary>
    public required double IndependentFrames { get; init; }

    /// <summary>Median FWHM of the frames as measured.</summary>
    public required Measured MedianFwhm { get; init; }

    /// <summary>Mean FWHM of the best fifth of the frames as measured, trailed ones left out: optics, focus and pixels cannot be worse.</summary>
    public required Measured BestFwhm { get; init; }

    /// <summary>Blur by the air that the best frames need to become the median ones, by the 5/3 power.</summary>
    public required Measured AddedFwhm { get; init; }

    /// <summary>Lengthening, 1 - b/a, that all stars share through the night, noise taken out: optics, or a steady drift.</summary>
    public required Measured SteadyEllipticity { get; init; }

    /// <summary>Its direction, from +x towards +y.</summary>
    public required double SteadyAngleDeg { get; init; }

    /// <summary>Root mean square lengthening of single frames beside that, noise taken out: wind, guiding.</summary>
    public required double ChangingEllipticity { get; init; }

    /// <summary>By how much the stars grow from one refocusing to the next, beyond what the night does; NaN where the focuser was not moved.</summary>
    public required Measured FocusGrowth { get; init; }

    /// <summary>Typical time between refocusings.</summary>
    [Field(Unit = "h")]
    public required double RefocusInterval { get; init; }

    /// <summary>Speed of the focus that would make the stars grow so, whichever way it moves; NaN without aperture and focal length.</summary>
    public required Measured GrowthDrift { get; init; }

    /// <summary>Speed of the focus, from the best one on, that could hide in the rise of a night without refocusing (two standard
    /// uncertainties); NaN where it does not apply.</summary>
    [Field(Unit = "um / h")]
    public required double LargestDrift { get; init; }

    /// <summary>Change of best focus with time, from focus runs or the places to which the focuser was moved; um / h or steps / h.</summary>
    public required Measured FocusDrift { get; init; }

    /// <summary>Its change with temperature; um / K or steps / K.</summary>
    public required Measured FocusDriftWithTemperature { get; init; }

    /// <summary>Time constant of an exponential; NaN where it is not decided.</summary>
    public required Measured CoolingTime { get; init; }

    /// <summary>Where best focus comes to rest by it.</summary>
    public required Measured FinalFocus { get; init; }

    /// <summary>Numbers of the frames of the best fifth, best first, from 0 in order of time.</summary>
    public required int[] BestFrames { get; init; }

    /// <summary>Middle of the passband that was reckoned with.</summary>
    public required double WavelengthNm { get; init; }

    /// <summary>Middle of each exposure.</summary>
    [Field(Unit = "h")]
    public required double[] Time { get; init; }

    /// <summary>Median FWHM of each frame.</summary>
    public required double[] FwhmArcsec { get; init; }

    /// <summary>Its standard uncertainty by the stars' scatter.</summary>
    public required double[] FwhmUncertaintyArcsec { get; init; }

    /// <summary>The same across the direction of a trail, diffraction taken off, reduced to the zenith and 500 nm.</summary>
    public required double[] ReducedFwhmArcsec { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    public required double[] ReducedFwhmUncertaintyArcsec { get; init; }

    /// <summary>Airmass.</summary>
    public required double[] Airmass { get; init; }

    /// <summary>Lengthening that the frame's stars share.</summary>
    public required double[] Ellipticity { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    public required double[] EllipticityUncertainty { get; init; }

    /// <summary>Its direction, from +x towards +y.</summary>
    public required double[] AngleDeg { get; init; }

    /// <summary>Focuser position, um or steps.</summary>
    public required double[] Focus { get; init; }

    /// <summary>Clean stars.</summary>
    public required int[] Stars { get; init; }

    /// <summary>Sum of <see cref="FrameMarks"/>.</summary>
    [Field(Flags = typeof(FrameMarks))]
    public required int[] Flags { get; init; }

    /// <summary>Times of the model.</summary>
    [Field(Unit = "h")]
    public required double[] CurveTime { get; init; }

    /// <summary>Level and trend as fitted.</summary>
    public required double[] CurveArcsec { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    public required double[] CurveUncertaintyArcsec { get; init; }

    /// <summary>Times of the places of best focus.</summary>
    [Field(Unit = "h")]
    public required double[] RunTime { get; init; }

    /// <summary>Places of best focus, um or steps.</summary>
    public required double[] RunFocus { get; init; }

    /// <summary>Whether places of best focus and their drift are um; else steps.</summary>
    public required bool FocusIsLength { get; init; }

    /// <summary>Numbers that a claim can be about.</summary>
    public required IReadOnlyList<Quantity> Quantities { get; init; }

    /// <summary>What the reader must know.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }
}
