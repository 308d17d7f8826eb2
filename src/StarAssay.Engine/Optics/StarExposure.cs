using StarAssay.Engine.Results;

namespace StarAssay.Engine.Optics;

/// <summary>A star, what looks at it, and the air between: for the exposure of a night that is still to come.</summary>
public sealed record StarExposureRequest
{
    /// <summary>Diameter of the entrance pupil, mm.</summary>
    [Field(Low = 5, High = 20_000)]
    public required double ApertureMm { get; init; }

    /// <summary>Focal length at the sensor, mm.</summary>
    [Field(Low = 10, High = 500_000)]
    public required double FocalLengthMm { get; init; }

    /// <summary>What lets light through.</summary>
    public PupilShape Pupil { get; init; } = PupilShape.Clear;

    /// <summary>Noll numbers of the wavefront that is assumed.</summary>
    public IReadOnlyList<int> Noll { get; init; } = [];

    /// <summary>Their coefficients, nm RMS.</summary>
    public IReadOnlyList<double> CoefficientsNm { get; init; } = [];

    /// <summary>Pixel pitch, um.</summary>
    public required double PitchUm { get; init; }

    /// <summary>Visual magnitude of the star, V.</summary>
    [Field(Low = -30, High = 30)]
    public required double Magnitude { get; init; }

    /// <summary>Temperature of the star: it takes the magnitude from V to the filter's wavelength.</summary>
    [Field(Low = 1000, High = 100_000, Unit = "K")]
    public double TemperatureKelvin { get; init; } = 9500;

    /// <summary>Middle of the filter, nm.</summary>
    [Field(Low = 300, High = 1100)]
    public double WavelengthNm { get; init; } = 550;

    /// <summary>Full width of the filter, nm.</summary>
    [Field(Low = 0.01, High = 800)]
    public double BandwidthNm { get; init; } = 100;

    /// <summary>Electrons for a photon that reaches the objective: optics, filter and detector together, the air left out.</summary>
    [Field(Low = 0.001, High = 1)]
    public double Efficiency { get; init; } = 0.5;

    /// <summary>Altitude of the star above the horizon.</summary>
    [Field(Low = 5, High = 90)]
    public double AltitudeDeg { get; init; } = 90;

    /// <summary>Seeing, FWHM in arcsec, in the zenith at 500 nm.</summary>
    [Field(Low = 0, High = 60)]
    public double SeeingArcsec { get; init; } = 2;

    /// <summary>Level that the brightest pixel is to stay below, electrons.</summary>
    [Field(Low = 10, High = 1e9)]
    public double LevelElectrons { get; init; } = 25_000;

    /// <summary>Electrons of the star that are wanted in one exposure.</summary>
    [Field(Low = 0, High = 1e12)]
    public double WantedElectrons { get; init; } = 1e7;

    /// <summary>Dispersion of a spectrum without a slit; 0 = no spectrum. The level then holds for its brightest column.</summary>
    [Field(Low = 0, High = 100)]
    public double DispersionNmPerPx { get; init; }

    /// <summary>Defocus to either side in waves of W020; 0 = in focus.</summary>
    [Field(Low = 0, High = 50)]
    public double DefocusWaves { get; init; }
}

/// <summary>What a star gives, and how long it may be exposed.</summary>
/// <param name="Airmass">At the star's altitude.</param>
/// <param name="Extinction">Light that the air takes, magnitudes: typical, since sites and nights differ by a tenth and more.</param>
/// <param name="SeeingArcsec">Seeing at this altitude and wavelength, FWHM.</param>
/// <param name="DispersionArcsec">Length of the little spectrum that the air makes of the star between the filter's edges.</param>
/// <param name="SmearPx">The same on the sensor.</param>
/// <param name="ElectronRate">Electrons a second of the whole star.</param>
/// <param name="DefocusUm">Shift of the sensor to either side of focus.</param>
/// <param name="BlurPx">Geometric diameter of the disc, |shift| / N; in focus the FWHM of the star.</param>
/// <param name="PeakShare">Share of the light in the brightest pixel, on the side of focus where it is brighter.</param>
/// <param name="LongestS">Exposure at which the brightest pixel reaches the level.</param>
/// <param name="LightS">Exposure that gathers the electrons wanted.</param>
/// <param name="Scintillation">Relative RMS of the star's light in an exposure of a second; it falls with the root of the time.</param>
public sealed record StarExposure(
    [property: Field] double Airmass,
    [property: Field(Unit = "mag")] double Extinction,
    double SeeingArcsec,
    double DispersionArcsec,
    double SmearPx,
    [property: Field(Unit = "electron / s")] double ElectronRate,
    double DefocusUm,
    double BlurPx,
    double PeakShare,
    double LongestS,
    double LightS,
    double Scintillation)
{
    /// <summary>Share of the stated seeing that the peak is looked for at: a steadier hour must not clip the ring (a judgment, no source).</summary>
    public const double SteadierAir = 0.6;

    /// <summary>Computes it.</summary>
    /// <remarks>Photons from <see cref="Photometry"/> (Bessell 1998 at V), taken along Planck's law from 545 nm to the filter; air from
    /// <see cref="Atmosphere"/>; the peak from an image drawn with the assumed wavefront, on both sides of focus.</remarks>
    [EngineTask("optics.star-exposure")]
    public static StarExposure Of(StarExposureRequest request)
    {
        RequireValid(request);
        double focalRatio = Defocus.FocalRatio(request.ApertureMm, request.FocalLengthMm);
        double airmass = Atmosphere.AirmassKastenYoung(90 - request.AltitudeDeg);
        double extinction = Atmosphere.ExtinctionMag(Atmosphere.TypicalExtinction(request.WavelengthNm), airmass);
        double color = StellarLight.BlackBody(request.WavelengthNm, request.TemperatureKelvin) / StellarLight.BlackBody(VNm, request.TemperatureKelvin);
        double rate = Photometry.ElectronRate(request.Magnitude + extinction, request.ApertureMm, request.Pupil.Obstruction, request.BandwidthNm,
            request.Efficiency) * color;
        double seeing = Seeing.ScaleFwhm(request.SeeingArcsec, 500, request.WavelengthNm, 1, airmass);
        double arcsecPerPixel = request.PitchUm / 1000 / request.FocalLengthMm * Seeing.ArcsecPerRadian;
        double half = request.BandwidthNm / 2;
        double dispersion = Math.Abs(Atmosphere.DifferentialRefractionArcsec(Math.Max(300, request.WavelengthNm - half), request.WavelengthNm + half,
            Math.Min(85, 90 - request.AltitudeDeg)));
        double shift = Defocus.ShiftUm(request.DefocusWaves * request.WavelengthNm, focalRatio);
        double width = double.Hypot(seeing, Airy.Fwhm(request.Pupil.Obstruction) * request.WavelengthNm * 1e-6 / request.ApertureMm * Seeing.ArcsecPerRadian)
            / arcsecPerPixel;
        double blur = shift > 0 ? Defocus.BlurDiameter(shift, focalRatio) / request.PitchUm : width;
        double peak = request.DispersionNmPerPx > 0 ? 0
            : Math.Max(Peak(request, shift, blur, seeing, width), shift > 0 ? Peak(request, -shift, blur, seeing, width) : 0);
        if (request.DispersionNmPerPx > 0)
        {
            // Along the spectrum a pixel takes its share of the band, across it that of a Gaussian profile.
            peak = Math.Sqrt(Photometry.PeakShare(width)) * request.DispersionNmPerPx / request.BandwidthNm;
        }

        return new StarExposure(airmass, extinction, seeing, dispersion, dispersion / arcsecPerPixel, rate, shift, blur, peak,
            Photometry.LongestExposureS(rate, peak, request.LevelElectrons), request.WantedElectrons / rate,
            Atmosphere.Scintillation(request.ApertureMm, 1, airmass));
    }

    /// <summary>Middle of V, nm (Bessell 1990).</summary>
    private const double VNm = 545;

    private static double Peak(StarExposureRequest request, double shiftUm, double blurPx, double seeingArcsec, double widthPx)
    {
        int size = (int)Math.Clamp(Math.Ceiling((1.3 * blurPx) + (6 * widthPx)), 16, 640);
        return DiffractionImage.Draw(new DiffractionImageRequest
        {
            Pupil = request.Pupil,
            ApertureMm = request.ApertureMm,
            FocalLengthMm = request.FocalLengthMm,
            Modes = [.. request.Noll.Select(ZernikeIndex.FromNoll)],
            CoefficientsNm = request.CoefficientsNm,
            Spectrum = [new SpectralSample(request.WavelengthNm)],
            ShiftUm = shiftUm,
            SeeingFwhmArcsec = SteadierAir * seeingArcsec,
            SeeingWavelengthNm = request.WavelengthNm,
            PitchUm = request.PitchUm,
            Size = size,
        }).Values.Max();
    }

    private static void RequireValid(StarExposureRequest r)
    {
        r.Pupil.RequireValid();
        InputException.RequireRange(r.PitchUm, 0.1, 1000, "pitch", "um");
        InputException.RequireRange(r.Magnitude, -30, 30, "magnitude", "mag");
        InputException.RequireRange(r.TemperatureKelvin, 1000, 100_000, "temperature", "K");
        InputException.RequireRange(r.WavelengthNm, 300, 1100, "wavelength", "nm");
        InputException.RequireRange(r.BandwidthNm, 0.01, 800, "bandwidth", "nm");
        InputException.RequireRange(r.AltitudeDeg, 5, 90, "altitude", "deg");
        InputException.RequireRange(r.SeeingArcsec, 0, 60, "seeing", "arcsec");
        InputException.RequireRange(r.LevelElectrons, 10, 1e9, "level", "electron");
        InputException.RequireRange(r.WantedElectrons, 0, 1e12, "wanted", "electron");
        InputException.RequireRange(r.DefocusWaves, 0, 50, "defocus_waves", "");
        InputException.RequireRange(r.DispersionNmPerPx, 0, 100, "dispersion", "nm / pix");
    }
}
