using System.Text.Json.Serialization;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ColorFocus;

/// <summary>What spreads the light.</summary>
public enum Disperser
{
    /// <summary>A transmission grating in the converging beam in front of the sensor, no slit.</summary>
    ConvergingGrating,

    /// <summary>A grating in a parallel beam (a slit spectrograph, or an objective grating).</summary>
    ParallelGrating,

    /// <summary>A prism: no higher orders.</summary>
    Prism,
}

/// <summary>What is known beforehand about the sign of the curve, for a single spectrum.</summary>
public enum SignHint
{
    /// <summary>Nothing: the usual case of lenses is assumed (violet focuses longest) and said so.</summary>
    None,

    /// <summary>The short-wave end focuses farther from the objective than the middle.</summary>
    BlueLonger,

    /// <summary>The short-wave end focuses nearer to the objective.</summary>
    BlueShorter,
}

/// <summary>Everything the color focus measurement needs besides the frames.</summary>
public sealed record ColorFocusRequest
{
    /// <summary>One spectrum, or those of a focus run.</summary>
    [JsonIgnore]
    [HandedOver("frame")]
    public IReadOnlyList<Frame> Frames { get; init; } = [];

    /// <summary>Focal length over aperture.</summary>
    public required double FocalRatio { get; init; }

    /// <summary>Focal length in mm; NaN leaves figures in arcsec out.</summary>
    public double FocalLengthMm { get; init; } = double.NaN;

    /// <summary>Ratio of the diameters of the central obstruction and the aperture.</summary>
    public double Obstruction { get; init; }

    /// <summary>Pixel pitch in um; NaN takes that of the frames.</summary>
    public double PitchUm { get; init; } = double.NaN;

    /// <summary>Sensor position of each frame in um, growing away from the objective; one frame needs none.</summary>
    public double[] PositionsUm { get; init; } = [];

    /// <summary>Wavelength of each column of the first frame, nm.</summary>
    public required double[] WavelengthsNm { get; init; }

    /// <summary>Standard uncertainty of the wavelength scale as a whole, columns: calibration, and lines that mix into their
    /// neighbors. Its share in the curve is this times the slope.</summary>
    public double WavelengthUncertaintyPx { get; init; } = 0.2;

    /// <summary>Independent ways in which the wavelength scale may be off, modes x columns flattened, nm for one standard deviation;
    /// empty = not known. They come on top of the shift of the whole.</summary>
    public double[] WavelengthModesNm { get; init; } = [];

    /// <summary>Shortest wavelength of a line that the scale rests on; NaN = not known.</summary>
    public double ScaleFromNm { get; init; } = double.NaN;

    /// <summary>Longest wavelength of a line that the scale rests on; NaN = not known.</summary>
    public double ScaleToNm { get; init; } = double.NaN;

    /// <summary>Wavelength whose focus is the curve's zero.</summary>
    public double ReferenceNm { get; init; } = 550;

    /// <summary>Shortest and longest wavelength used.</summary>
    public double[] LimitsNm { get; init; } = [380, 1000];

    /// <summary>Edges of the band whose figures of merit come with the result; empty = none.</summary>
    public double[] BandNm { get; init; } = [];

    /// <summary>Grating or prism.</summary>
    public Disperser Disperser { get; init; } = Disperser.ConvergingGrating;

    /// <summary>Grooves per mm of a grating in the converging beam; NaN = not known.</summary>
    public double GratingLinesPerMm { get; init; } = double.NaN;

    /// <summary>Distance of that grating from the sensor, mm.</summary>
    public double GratingDistanceMm { get; init; } = double.NaN;

    /// <summary>True when a filter keeps the second order out.</summary>
    public bool OrderFilter { get; init; }

    /// <summary>Shortest wavelength at which the set-up passes light; NaN = from the spectrum, else 380 nm.</summary>
    public double ShortestLightNm { get; init; } = double.NaN;

    /// <summary>RMS blur of the camera and spectrograph themselves, um; NaN or 0 = not known, then it is fitted.</summary>
    public double InstrumentBlurUm { get; init; } = double.NaN;

    /// <summary>Wavelengths of a reference telescope's curve with the same spectrograph; empty = none.</summary>
    public double[] ReferenceCurveWavelengthNm { get; init; } = [];

    /// <summary>Its shifts in um.</summary>
    public double[] ReferenceCurveShiftUm { get; init; } = [];

    /// <summary>Their standard uncertainties; may be empty.</summary>
    public double[] ReferenceCurveUncertaintyUm { get; init; } = [];

    /// <summary>For one spectrum: what is known of the sign.</summary>
    public SignHint SignHint { get; init; }

    /// <summary>For one spectrum set out of focus on purpose: sensor minus best focus of the reference wavelength, um, positive =
    /// away from the objective. Its sign decides on which side of focus the colors lie; its size need be right to a third
    /// only. NaN = not set out, or not known.</summary>
    public double DefocusUm { get; init; } = double.NaN;

    /// <summary>Bootstrap replicates.</summary>
    public int Replicates { get; init; } = 200;

    /// <summary>Seed of the bootstrap.</summary>
    public int Seed { get; init; } = 1;

    /// <summary>How frames are reduced.</summary>
    public SpectrumRequest Reduction { get; init; } = new();

    internal double MinNm => LimitsNm.Min();

    internal double MaxNm => LimitsNm.Max();
}

/// <summary>Best focus against wavelength. Positive = farther from the objective than the reference wavelength's.</summary>
public sealed record ColorFocusResult : IMeasurementResult
{
    /// <summary>True for a focus run, false for a single spectrum.</summary>
    public required bool FromFocusRun { get; init; }

    /// <summary>Mean wavelength of each bin, nm.</summary>
    public required double[] WavelengthNm { get; init; }

    /// <summary>Shift of each bin measured on its own, um; for a single spectrum its size with the sign of the smooth curve.</summary>
    public required double[] ShiftUm { get; init; }

    /// <summary>Standard uncertainty, um.</summary>
    public required double[] ShiftUncertaintyUm { get; init; }

    /// <summary>False where a bin was left out of the smooth curve.</summary>
    public required bool[] Used { get; init; }

    /// <summary>Smooth curve at the same bins, um.</summary>
    public required double[] SmoothUm { get; init; }

    /// <summary>Its standard uncertainty, um.</summary>
    public required double[] SmoothUncertaintyUm { get; init; }

    /// <summary>Bootstrap replicates of the smooth curve, replicates x bins, um.</summary>
    public required double[,] ReplicatesUm { get; init; }

    /// <summary>For a single spectrum: distance of each bin's focus from the sensor without its sign, um; NaN for a focus run.</summary>
    public required double[] DefocusSizeUm { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    public required double[] DefocusSizeUncertaintyUm { get; init; }

    /// <summary>False where one spectrum does not tell on which side of the sensor a color focuses.</summary>
    public required bool[] SignDecided { get; init; }

    /// <summary>False when open signs matter: then <see cref="DefocusSizeUm"/> is what was measured, the signed curve is one of several
    /// that fit, and <see cref="FocusRange"/> is that of the size.</summary>
    public required bool SignsDecided { get; init; }

    /// <summary>What was subtracted for the grating or by the reference, um.</summary>
    public required double[] RemovedUm { get; init; }

    /// <summary>Detected light per nm at each bin, relative to the largest.</summary>
    public required double[] RelativeFlux { get; init; }

    /// <summary>Half the 68.3 % range of the profile, frames x bins, um on the sensor: model-free.</summary>
    public required double[,] WidthUm { get; init; }

    /// <summary>Its standard uncertainty.</summary>
    public required double[,] WidthUncertaintyUm { get; init; }

    /// <summary>Seeing FWHM at 550 nm with the telescope's own steady blur, each frame, um on the sensor.</summary>
    public required double[] SeeingUm { get; init; }

    /// <summary>Position of each frame, um.</summary>
    public required double[] PositionsUm { get; init; }

    /// <summary>Best focus of the reference wavelength on the focuser's scale (focus run), or its distance from the sensor (single).</summary>
    public required Measured ReferenceFocus { get; init; }

    /// <summary>RMS blur that all colors of all frames share and that is not the telescope's: the spectrograph's, um; NaN where the
    /// profiles show none.</summary>
    public Measured InstrumentBlur { get; init; } = Measured.None("um");

    /// <summary>Zero of the curve, nm.</summary>
    public required double ReferenceNm { get; init; }

    /// <summary>Longest minus shortest focus over the used bins.</summary>
    public required Measured FocusRange { get; init; }

    /// <summary>Focal ratio at which the blur grows with the position as it did; NaN for a single spectrum.</summary>
    public required Measured FocalRatioFromBlur { get; init; }

    /// <summary>Profiles' scatter over the expected noise.</summary>
    public required double NoiseScale { get; init; }

    /// <summary>Focal length over aperture, as given.</summary>
    public required double FocalRatio { get; init; }

    /// <summary>Focal length, as given; NaN = not known.</summary>
    public required double FocalLengthMm { get; init; }

    /// <summary>Ratio of the diameters of obstruction and aperture, as given.</summary>
    public required double Obstruction { get; init; }

    /// <summary>Shift of each frame along the dispersion against the first, columns.</summary>
    public required double[] ColumnShift { get; init; }

    /// <summary>Longest wavelength free of the second order, nm; infinite when none comes.</summary>
    public required double SecondOrderFromNm { get; init; }

    /// <summary>Figures of merit in the request's band, weighted with the light as detected; null when no band was asked for.</summary>
    public MeritResult? BandMerit { get; init; }

    /// <summary>What must be known.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }

    /// <summary>Numbers that a claim can be about.</summary>
    public IReadOnlyList<Quantity> Quantities => CurveFigures.Of(this);
}
