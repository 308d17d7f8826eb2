using System.Text.Json.Serialization;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Simulation;

/// <summary>A spectrum to be drawn, through any lens.</summary>
public sealed record SpectrumScene
{
    /// <summary>Columns.</summary>
    public int Width { get; init; } = 1600;

    /// <summary>Rows.</summary>
    public int Height { get; init; } = 200;

    /// <summary>Wavelength of each column, nm; must have <see cref="Width"/> values.</summary>
    public required double[] WavelengthsNm { get; init; }

    /// <summary>Wavelengths of the lens's curve.</summary>
    public required double[] CurveWavelengthNm { get; init; }

    /// <summary>Focus at each, um, positive = farther out.</summary>
    public required double[] CurveFocusUm { get; init; }

    /// <summary>Place of the sensor, um on the same scale.</summary>
    public double SensorUm { get; init; }

    /// <summary>Focal length over aperture.</summary>
    public required double FocalRatio { get; init; }

    /// <summary>Focal length, mm.</summary>
    public required double FocalLengthMm { get; init; }

    /// <summary>Central obstruction.</summary>
    public double Obstruction { get; init; }

    /// <summary>Pixel pitch, um.</summary>
    public double PitchUm { get; init; } = 4.63;

    /// <summary>Seeing FWHM at 550 nm, arcsec.</summary>
    public double SeeingArcsec { get; init; } = 2.5;

    /// <summary>Temperature of the star, K.</summary>
    public double TemperatureKelvin { get; init; } = 9600;

    /// <summary>Depth of the hydrogen lines, 0 to 1 (A stars 0.5, F 0.3, G 0.15: common practice, no source).</summary>
    public double BalmerDepth { get; init; } = 0.5;

    /// <summary>Electrons of the whole first order.</summary>
    public double Electrons { get; init; } = 2e7;

    /// <summary>Efficiency of the second order over the first.</summary>
    public double SecondOrder { get; init; }

    /// <summary>Grooves per mm of a grating in the converging beam; NaN = none.</summary>
    public double GratingLinesPerMm { get; init; } = double.NaN;

    /// <summary>Its distance from the sensor, mm.</summary>
    public double GratingDistanceMm { get; init; } = double.NaN;

    /// <summary>Rise of the trace over the frame, pixels.</summary>
    public double TiltPx { get; init; } = 6;

    /// <summary>Bow of the trace, pixels.</summary>
    public double BowPx { get; init; } = 1;

    /// <summary>Sky, electrons a pixel.</summary>
    public double SkyElectrons { get; init; } = 40;

    /// <summary>Electrons for one ADU.</summary>
    public double GainElectronsPerAdu { get; init; } = 1;

    /// <summary>Read noise, electrons RMS.</summary>
    public double ReadNoiseElectrons { get; init; } = 3;

    /// <summary>Level of the empty frame, ADU.</summary>
    public double BiasAdu { get; init; } = 300;

    /// <summary>Cosmic-ray hits.</summary>
    public int CosmicRays { get; init; } = 10;

    /// <summary>Lamps of a lamp frame; empty = a star.</summary>
    public string[] Lamps { get; init; } = [];

    /// <summary>Seed of the noise; negative = no noise.</summary>
    public int Seed { get; init; } = 1;

    /// <summary>Where it is drawn, height x width, ADU.</summary>
    [JsonIgnore]
    [HandedOver("pixels")]
    public Memory<float> Pixels { get; init; }
}

/// <summary>What was drawn.</summary>
/// <param name="FocusUm">Focus of each column's color, um, on the curve's own scale.</param>
public sealed record SpectrumTruth(double[] FocusUm);

/// <summary>Draws two-dimensional spectra: star or lamp, color focus, seeing, orders, lines, detector and noise.</summary>
/// <remarks>Without a slit: a column holds the images of its neighbors as well, so lines and flanks are blurred along the dispersion
/// as every color is across it.</remarks>
public static class SpectrumSimulator
{
    /// <summary>Draws a spectrum.</summary>
    [EngineTask("simulation.spectrum")]
    public static SpectrumTruth Draw(SpectrumScene scene)
    {
        Draw(scene, scene.Pixels.Span);
        var lens = new LensCurve(scene.CurveWavelengthNm, scene.CurveFocusUm);
        return new SpectrumTruth([.. scene.WavelengthsNm.Select(lens.At)]);
    }

    /// <summary>Draws into <paramref name="pixels"/> (height x width, ADU).</summary>
    public static void Draw(SpectrumScene scene, Span<float> pixels)
    {
        int w = scene.Width, h = scene.Height;
        if (scene.WavelengthsNm.Length != w || pixels.Length != w * h || scene.CurveWavelengthNm.Length < 2
            || scene.CurveWavelengthNm.Length != scene.CurveFocusUm.Length)
        {
            throw new InputException("simulation.sizes", "Give one wavelength for each column, a curve of at least two points and a frame of width x height.",
                "wavelengths");
        }

        var electrons = new double[w * h];
        Array.Fill(electrons, scene.SkyElectrons);
        if (scene.Lamps.Length > 0)
        {
            Lamp(scene, electrons);
        }
        else
        {
            double scale = scene.Electrons / scene.WavelengthsNm.Sum(nm => StarLight(scene, nm));
            SpectrumBlur.AddOrder(scene, electrons, nm => scale * StarLight(scene, nm), 1);
            if (scene.SecondOrder > 0)
            {
                SpectrumBlur.AddOrder(scene, electrons, nm => scene.SecondOrder * scale * StarLight(scene, nm / 2) / 2, 2);
            }
        }

        var random = new Random(Math.Max(scene.Seed, 0));
        bool noisy = scene.Seed >= 0;
        for (int i = 0; i < electrons.Length; i++)
        {
            double v = electrons[i];
            if (noisy)
            {
                v = Poisson(v, random) + (scene.ReadNoiseElectrons * Gaussian(random));
            }

            electrons[i] = v;
        }

        for (int k = 0; noisy && k < scene.CosmicRays; k++)
        {
            int x = random.Next(w - 4), y = random.Next(h), length = random.Next(1, 5);
            for (int i = 0; i < length; i++)
            {
                electrons[(y * w) + x + i] += 300 + (4000 * random.NextDouble());
            }
        }

        for (int i = 0; i < electrons.Length; i++)
        {
            pixels[i] = (float)(scene.BiasAdu + (electrons[i] / scene.GainElectronsPerAdu));
        }
    }

    /// <summary>Photons per nm of the star through the sensor, relative: black body (Planck), hydrogen and telluric lines, silicon
    /// behind glass (common practice, no source).</summary>
    public static double StarLight(SpectrumScene scene, double nm)
    {
        double flux = StellarLight.BlackBody(nm, scene.TemperatureKelvin) / StellarLight.BlackBody(550, scene.TemperatureKelvin);
        foreach (double line in LampLines.Find(["H"]))
        {
            flux *= 1 - (scene.BalmerDepth * Math.Exp(-0.5 * Math.Pow((nm - line) / 1.8, 2)));
        }

        flux *= 1 - (0.6 * Math.Exp(-0.5 * Math.Pow((nm - 761.5) / 2.5, 2)));
        flux *= 1 - (0.25 * Math.Exp(-0.5 * Math.Pow((nm - 687.5) / 1.5, 2)));
        return flux * StellarLight.SiliconEfficiency(nm);
    }

    private static void Lamp(SpectrumScene scene, double[] electrons)
    {
        // A slit image of 2.5 pixels FWHM at each line; strengths from the line's number, since lamps differ.
        int w = scene.Width, h = scene.Height;
        double[] lines = LampLines.Find(scene.Lamps);
        var flux = new double[w];
        for (int k = 0; k < lines.Length; k++)
        {
            double strength = 2000 * (1 + (3 * Math.Abs(Math.Sin(12.9898 * (k + 1)))));
            for (int x = 1; x + 1 < w; x++)
            {
                double perColumn = 0.5 * (scene.WavelengthsNm[x + 1] - scene.WavelengthsNm[x - 1]);
                double d = (scene.WavelengthsNm[x] - lines[k]) / perColumn;
                flux[x] += Math.Abs(d) < 6 ? strength * Math.Exp(-0.5 * d * d / (1.06 * 1.06)) : 0;
            }
        }

        for (int y = 0; y < h; y++)
        {
            for (int x = 0; x < w; x++)
            {
                electrons[(y * w) + x] += flux[x];
            }
        }
    }

    private static double Gaussian(Random random) =>
        Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());

    private static double Poisson(double mean, Random random)
    {
        if (mean > 50)
        {
            return Math.Max(0, Math.Round(mean + (Math.Sqrt(mean) * Gaussian(random))));
        }

        double limit = Math.Exp(-mean), product = random.NextDouble();
        int k = 0;
        while (product > limit)
        {
            product *= random.NextDouble();
            k++;
        }

        return k;
    }
}
