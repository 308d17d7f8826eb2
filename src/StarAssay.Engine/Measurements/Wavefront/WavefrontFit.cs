using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>The wavefront of a telescope from pairs of defocused images. Arrays over modes share one order: Noll 5 upwards to 45, then
/// rings (radial orders from 10 on without angle), then the other modes from Noll 46 on; what follows Noll 45 is orthonormal over the open
/// ring instead of the full circle.</summary>
public sealed record WavefrontFit : IMeasurementResult
{
    /// <summary>Noll index of each mode.</summary>
    public required int[] Noll { get; init; }

    /// <summary>OSA/ANSI index of each mode.</summary>
    public required int[] Osa { get; init; }

    /// <summary>Name of each mode in the trade.</summary>
    public required IReadOnlyList<string> Mode { get; init; }

    /// <summary>Coefficient of each circle polynomial, nm RMS over the full disc, positive where the wave is ahead.</summary>
    public required double[] CoefficientNm { get; init; }

    /// <summary>Standard uncertainty of each coefficient with every part of the budget, nm.</summary>
    public required double[] UncertaintyNm { get; init; }

    /// <summary>The part of it that comes from photons, read noise and misfit, nm.</summary>
    public required double[] FitUncertaintyNm { get; init; }

    /// <summary>The part of it that photons and read noise alone make, nm: what noise adds to sums of squares.</summary>
    public required double[] PhotonUncertaintyNm { get; init; }

    /// <summary>The part of it that averages out over more pairs, nm: the fit's, turbulence left in a finite exposure, and the pairs' scatter where that is
    /// larger.</summary>
    public required double[] RandomUncertaintyNm { get; init; }

    /// <summary>Covariance of the coefficients with every part of the budget, nm^2.</summary>
    public required double[,] CovarianceNm2 { get; init; }

    /// <summary>What each mode means at the telescope.</summary>
    public required IReadOnlyList<string> Words { get; init; }

    /// <summary>RMS wavefront error over the open pupil at best focus, noise taken out, nm.</summary>
    public required Measured Rms { get; init; }

    /// <summary>Peak to valley of the noise-filtered map, nm.</summary>
    public required Measured Pv { get; init; }

    /// <summary>By how much noise still raises the PV on average, nm.</summary>
    public required double PvBiasNm { get; init; }

    /// <summary>Strehl ratio from the pupil integral at <see cref="WavelengthNm"/>.</summary>
    public required Measured Strehl { get; init; }

    /// <summary>exp[-(2 pi RMS/wavelength)^2], for comparison; NaN above 0.1 wave RMS, where it misleads.</summary>
    public required double StrehlFromRms { get; init; }

    /// <summary>Wavefront map at best focus, nm; row y, column x, sample k at (2k + 1 - n)/n; NaN outside the open pupil.</summary>
    public required double[,] MapNm { get; init; }

    /// <summary>Open share of each sample of the map.</summary>
    public required double[,] MapOpen { get; init; }

    /// <summary>Standard uncertainty of the map, nm.</summary>
    public required double[,] MapUncertaintyNm { get; init; }

    /// <summary>Mean wavelength, nm.</summary>
    public required double WavelengthNm { get; init; }

    /// <summary>Focal ratio.</summary>
    public required double FocalRatio { get; init; }

    /// <summary>Seeing of each image, FWHM of the Kolmogorov long exposure, arcsec.</summary>
    public required IReadOnlyList<Measured> Seeing { get; init; }

    /// <summary>Every image with its model.</summary>
    public required IReadOnlyList<FittedImage> Images { get; init; }

    /// <summary>Chi squared per degree of freedom.</summary>
    public required double ChiSquared { get; init; }

    /// <summary>Pixels that counted.</summary>
    public required int Points { get; init; }

    /// <summary>Steps of the solver.</summary>
    public required int Iterations { get; init; }

    /// <summary>RMS that the fit's own covariance predicts for the map's error from photons, read noise and misfit, nm.</summary>
    public required double MapErrorNm { get; init; }

    /// <summary>The second opinion; null when it could not be made.</summary>
    public SecondOpinionResult? SecondOpinion { get; init; }

    /// <summary>Each pair fitted alone, when there are several.</summary>
    public IReadOnlyList<PairAlone> PairsAlone { get; init; } = [];

    /// <summary>What changed from pair to pair; null where there are fewer than three, within less than a quarter of an hour, or of unknown times.</summary>
    public WavefrontCourse? Course { get; init; }

    /// <summary>Where the uncertainty comes from.</summary>
    public IReadOnlyList<WavefrontBudgetLine> Budget { get; init; } = [];

    /// <summary>True when the pairs scattered more than the budget says and widened the bars.</summary>
    public bool Widened { get; init; }

    /// <summary>False when notes of doubt forbid using the numbers to decide.</summary>
    public required bool Decided { get; init; }

    /// <summary>What the reader must know.</summary>
    public required IReadOnlyList<Note> Notes { get; init; }

    /// <summary>Modes by kind of aberration, largest first.</summary>
    public IReadOnlyList<AberrationFamily> Families => AberrationFamilies.Of(Noll, CoefficientNm, UncertaintyNm, PhotonUncertaintyNm);

    /// <summary>The same in polynomials that are orthonormal over the ring which the obstruction leaves (Mahajan 1981): RMS over the light
    /// that passes. Empty without an obstruction, where both are the same.</summary>
    public IReadOnlyList<AberrationFamily> AnnularFamilies { get; init; } = [];

    /// <summary>What of the uncertainty of each annular family averages out over more pairs, nm, in their order.</summary>
    public double[] AnnularRandomUncertaintyNm { get; init; } = [];

    /// <summary>Numbers that a claim can be about.</summary>
    public IReadOnlyList<Quantity> Quantities => WavefrontFigures.Of(this);
}

/// <summary>One image of the fit: window of pixels with its model.</summary>
/// <param name="Name">Name of the frame.</param>
/// <param name="X0">Frame column of the window's first pixel (after undoing the orientation).</param>
/// <param name="Y0">Frame row of the window's first pixel.</param>
/// <param name="Binning">Frame pixels along the side of one pixel here.</param>
/// <param name="Observed">Electrons; row y, column x.</param>
/// <param name="Model">Electrons.</param>
/// <param name="Residual">(observed - model) in standard deviations, 0 where masked.</param>
/// <param name="Masked">True where the pixel did not count.</param>
/// <param name="Distance">Sensor's distance from best focus, um, negative inside.</param>
/// <param name="DefocusWaves">The same as path at the edge, waves.</param>
/// <param name="Flux">Light of the star, electrons.</param>
/// <param name="Background">Background, electrons a pixel.</param>
public sealed record FittedImage(string Name, int X0, int Y0, int Binning, float[,] Observed, float[,] Model, float[,] Residual, bool[,] Masked,
    Measured Distance, double DefocusWaves, Measured Flux, Measured Background);

/// <summary>What the independent linear method says of the same images.</summary>
/// <param name="CoefficientNm">Its coefficients in the fit's order; NaN for modes beyond Noll 45, which it takes from the fit.</param>
/// <param name="UncertaintyNm">Their standard uncertainties.</param>
/// <param name="DifferenceNm">RMS of the difference over all modes that either has, a missing one taken as zero, nm.</param>
/// <param name="ExpectedNm">What the bars of both allow for it, nm.</param>
/// <param name="Agrees">True when the difference stays within twice that.</param>
public sealed record SecondOpinionResult(double[] CoefficientNm, double[] UncertaintyNm, double DifferenceNm, double ExpectedNm, bool Agrees);

/// <summary>One pair fitted alone.</summary>
/// <param name="CoefficientNm">Its coefficients in the fit's order.</param>
/// <param name="RmsNm">Its RMS.</param>
/// <param name="ChiSquared">Its chi squared per degree of freedom.</param>
/// <param name="DistanceUm">Distances of its two images from best focus, negative inside.</param>
public sealed record PairAlone(double[] CoefficientNm, double RmsNm, double ChiSquared, double[] DistanceUm);

/// <summary>One line of the wavefront's uncertainty budget. NaN: not in the numbers.</summary>
/// <param name="MapNm">RMS that it puts on the map, nm.</param>
/// <param name="RmsNm">Its share in the uncertainty of the RMS, nm.</param>
/// <param name="Strehl">Its share in the uncertainty of the Strehl ratio.</param>
public sealed record WavefrontBudgetLine(double MapNm, double RmsNm = double.NaN, double Strehl = double.NaN) : BudgetLine;
