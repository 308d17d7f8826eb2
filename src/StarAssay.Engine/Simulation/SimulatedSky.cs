using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Simulation;

/// <summary>The air above the telescope and how steadily it pointed.</summary>
public sealed record SimulatedSky
{
    /// <summary>Seeing FWHM at 500 nm as the exposure saw it (its airmass included), arcsec.</summary>
    public double SeeingFwhmArcsec { get; init; } = 2;

    /// <summary>Background, electrons a second and pixel on the axis.</summary>
    public double BackgroundElectronsPerS { get; init; }

    /// <summary>Gradient of the background from the left edge to the right, as a share of it.</summary>
    public double GradientX { get; init; }

    /// <summary>The same from the lower edge to the upper.</summary>
    public double GradientY { get; init; }

    /// <summary>Zenith distance in degrees for atmospheric dispersion; 0 for none.</summary>
    public double ZenithDistanceDeg { get; init; }

    /// <summary>Direction of the zenith on the sensor, degrees from +x towards +y.</summary>
    public double ZenithDirectionDeg { get; init; } = 90;

    /// <summary>Trail by drift, arcsec along x.</summary>
    public double DriftXArcsec { get; init; }

    /// <summary>Trail by drift, arcsec along y.</summary>
    public double DriftYArcsec { get; init; }

    /// <summary>Fast motion by wind and guiding, RMS arcsec per axis.</summary>
    public double JitterArcsec { get; init; }

    /// <summary>Throws when it cannot be.</summary>
    public void RequireValid()
    {
        InputException.RequireRange(SeeingFwhmArcsec, 0, 100, nameof(SeeingFwhmArcsec), "arcsec");
        InputException.RequireRange(BackgroundElectronsPerS, 0, 1e9, nameof(BackgroundElectronsPerS), "electron/s");
        InputException.RequireRange(GradientX, -2, 2, nameof(GradientX), string.Empty);
        InputException.RequireRange(GradientY, -2, 2, nameof(GradientY), string.Empty);
        InputException.RequireRange(ZenithDistanceDeg, 0, 85, nameof(ZenithDistanceDeg), "deg");
        InputException.RequireRange(JitterArcsec, 0, 100, nameof(JitterArcsec), "arcsec");
    }
}

/// <summary>A filter, or one color of a mosaic, with the kind of star seen through it.</summary>
public sealed record SimulatedPassband
{
    /// <summary>'R', 'G' or 'B' for a pixel of a mosaic; empty for all pixels.</summary>
    public string Color { get; init; } = string.Empty;

    /// <summary>Lower edge, nm.</summary>
    public double LowNm { get; init; } = 500;

    /// <summary>Upper edge, nm.</summary>
    public double HighNm { get; init; } = 600;

    /// <summary>Wavelengths drawn, spread evenly between the edges.</summary>
    public int Samples { get; init; } = 3;

    /// <summary>Light of a star in this passband as a share of its stated rate.</summary>
    public double FluxShare { get; init; } = 1;

    /// <summary>Temperature of the stars, K: Planck's law gives the weights.</summary>
    public double StarTemperatureK { get; init; } = 9500;

    /// <summary>Wavelength whose place the air leaves alone: dispersion counts from here, in every passband.</summary>
    public const double DispersionReferenceNm = 550;

    /// <summary>Throws when it cannot be.</summary>
    public void RequireValid()
    {
        InputException.RequireRange(LowNm, 200, 20000, nameof(LowNm), "nm");
        InputException.RequireRange(HighNm, LowNm, 20000, nameof(HighNm), "nm");
        InputException.RequireRange(Samples, 1, 64, nameof(Samples), string.Empty);
        InputException.RequireRange(StarTemperatureK, 1000, 100_000, nameof(StarTemperatureK), "K");
        InputException.RequireRange(FluxShare, 0, 1, nameof(FluxShare), string.Empty);
    }

    /// <summary>Mean wavelength by detected light, nm.</summary>
    public static double MeanWavelengthNm(IReadOnlyList<SpectralSample> spectrum) =>
        spectrum.Sum(s => s.Weight * s.WavelengthNm) / spectrum.Sum(s => s.Weight);

    /// <summary>The wavelengths with weights, focus, scale and dispersion.</summary>
    public IReadOnlyList<SpectralSample> Spectrum(SimulatedTelescope telescope, SimulatedSky sky, DetectorResponse detector)
    {
        var samples = new SpectralSample[Samples];
        double unit = telescope.FocalLengthMm * 1000 / Seeing.ArcsecPerRadian;
        (double sin, double cos) = Math.SinCos(sky.ZenithDirectionDeg * Math.PI / 180);
        for (int k = 0; k < Samples; k++)
        {
            double nm = LowNm + ((HighNm - LowNm) * (k + 0.5) / Samples);

            double photons = StellarLight.BlackBody(nm, StarTemperatureK);
            double raised = sky.ZenithDistanceDeg > 0
                ? unit * Atmosphere.DifferentialRefractionArcsec(nm, DispersionReferenceNm, sky.ZenithDistanceDeg)
                : 0;
            samples[k] = new SpectralSample(nm, photons * detector.EfficiencyAt(nm), telescope.FocusAt(nm), telescope.ScaleAt(nm), raised * cos, raised * sin);
        }

        return samples;
    }
}
