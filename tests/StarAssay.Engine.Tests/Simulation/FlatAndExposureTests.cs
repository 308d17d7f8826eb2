using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Simulation;

namespace StarAssay.Engine.Tests.Simulation;

/// <summary>Illumination by geometry, noise by the photon transfer relation, single stars by the pupil.</summary>
public class FlatAndExposureTests
{
    private static readonly SimulatedTelescope Long = new() { ApertureMm = 100, FocalLengthMm = 1000 };

    /// <summary>Cosine to the fourth for a thin lens with the stop at the lens; any optics text, table recomputed.</summary>
    [Theory]
    [InlineData(0.5, 0.999848)]
    [InlineData(1, 0.999391)]
    [InlineData(1.5, 0.998630)]
    [InlineData(2, 0.997566)]
    [InlineData(3, 0.994529)]
    [InlineData(5, 0.984865)]
    [InlineData(10, 0.940602)]
    public void Cosine_law(double degrees, double share) =>
        Assert.Equal(share, Long.Illumination(1000 * Math.Tan(degrees * Math.PI / 180)), 1e-6);

    [Fact]
    public void Adapter_passes_the_full_cone_and_half_of_it_where_geometry_says()
    {
        // 37.5 mm clear at 55 mm, f/5, parallel chief rays (very long focal length): full cone to 13.25 mm, half near c/2.
        ConeStop stop = new(37.5, 55);
        Assert.Equal(1, stop.OpenShare(13.2499, 5, 1e9, 0), 9);
        Assert.True(stop.OpenShare(13.4, 5, 1e9, 0) < 1);
        Assert.Equal(0.5, stop.OpenShare(18.75, 5, 1e9, 0), 0.07);
        Assert.Equal(0, stop.OpenShare(24.3, 5, 1e9, 0), 9);

        // The pupil cut by the stop holds the same share of the cone.
        SimulatedTelescope telescope = new() { ApertureMm = 200, FocalLengthMm = 1000, Stops = [new ConeStop(37.5, 55)] };
        PupilShape cut = telescope.PupilAt(15, 0);
        double open = PupilRaster.Draw(cut, 258, 256).Sum() / (Math.PI / 4 * 256 * 256);
        Assert.Equal(telescope.Stops[0].OpenShare(15, 5, 1000, 0), open, 1e-3);

        // Light that passes the outer edge of the stop is lost on the far side of the pupil: the cut lies towards +x.
        Assert.False(cut.Passes(0.98, 0));
        Assert.True(cut.Passes(-0.98, 0));
    }

    [Fact]
    public void Tabulated_illumination_is_the_exact_one()
    {
        SimulatedTelescope telescope = new()
        {
            ApertureMm = 115,
            FocalLengthMm = 760,
            Stops = [new ConeStop(20, 60)],
            Field = new FieldErrors { AxisXMm = 1.5 }
        };
        DetectorResponse camera = new() { Width = 6000, Height = 4000 };
        var table = new IlluminationTable(telescope, camera);
        for (int x = 3; x < 6000; x += 37)
        {
            int y = x * 3999 / 6000;
            double hx = ((x - 2999.5) * 0.00376) - 1.5;
            double hy = (y - 1999.5) * 0.00376;
            Assert.Equal(telescope.Illumination(Math.Sqrt((hx * hx) + (hy * hy))), table.At(x, y), 1e-4);
        }
    }

    [Fact]
    public void Photon_transfer_gives_gain_and_read_noise_back()
    {
        DetectorResponse camera = new()
        {
            Width = 400,
            Height = 300,
            GainElectronsPerAdu = 1.6,
            ReadNoiseElectrons = 6,
            FullWellElectrons = 60_000,
            BiasAdu = 1000
        };
        ushort[] Shot(double level, long seed)
        {
            ushort[] adu = new ushort[400 * 300];
            FlatDrawing.Draw(new FlatRequest { Telescope = Long, Detector = camera, LevelElectrons = level, Seed = seed }, adu, RunContext.Default);
            return adu;
        }

        // Variance of a difference is twice that of one frame; slope of variance against level is 1 / gain (EMVA 1288).
        static (double Mean, double Variance) Pair(ushort[] a, ushort[] b)
        {
            double mean = a.Concat(b).Average(v => (double)v);
            double difference = a.Zip(b, (p, q) => (double)p - q).Average();
            return (mean, a.Zip(b, (p, q) => Math.Pow(p - q - difference, 2)).Average() / 2);
        }

        (double biasMean, double biasVariance) = Pair(Shot(0, 1), Shot(0, 2));
        (double flatMean, double flatVariance) = Pair(Shot(30_000, 3), Shot(30_000, 4));
        Assert.Equal(1000, biasMean, 0.05);
        double gain = (flatMean - biasMean) / (flatVariance - biasVariance);
        Assert.Equal(1.6, gain, 0.03);
        Assert.Equal(6, gain * Math.Sqrt(biasVariance - (1.0 / 12)), 0.15);
        Assert.Equal(1000 + (30_000 / 1.6), flatMean, 20.0);
    }

    [Fact]
    public void Well_and_converter_clip()
    {
        DetectorResponse camera = new() { Width = 30, Height = 20, FullWellElectrons = 1000, GainElectronsPerAdu = 1, BiasAdu = 100, Bits = 12 };
        ushort[] adu = new ushort[600];
        FlatTruth truth = FlatDrawing.Draw(new FlatRequest { Telescope = Long, Detector = camera, LevelElectrons = 1e5 }, adu, RunContext.Default);
        Assert.Equal(1100, truth.SaturationAdu);
        Assert.All(adu, v => Assert.InRange(v, 1080, 1100));
        Assert.Equal(4095, (camera with { FullWellElectrons = 1e6 }).SaturationAdu);
    }

    [Fact]
    public void Hot_pixels_stay_and_cosmic_rays_change()
    {
        DetectorResponse camera = new() { Width = 300, Height = 200, HotPixelShare = 0.002, ReadNoiseElectrons = 1 };
        ushort[] a = new ushort[60_000];
        ushort[] b = new ushort[60_000];
        FlatRequest dark = new() { Telescope = Long, Detector = camera, LevelElectrons = 0, ExposureS = 60, Seed = 1, CosmicRays = 10 };
        FlatDrawing.Draw(dark, a, RunContext.Default);
        FlatDrawing.Draw(dark with { Seed = 2 }, b, RunContext.Default);
        int both = a.Zip(b).Count(p => p.First > 700 && p.Second > 700);
        int single = a.Zip(b).Count(p => (p.First > 700) != (p.Second > 700));
        Assert.InRange(both, 70, 170);
        Assert.InRange(single, 15, 200);
    }

    [Fact]
    public void Quantum_efficiency_is_a_curve()
    {
        DetectorResponse camera = new() { EfficiencyWavelengthsNm = [400, 500, 700], Efficiency = [0.4, 0.8, 0.6] };
        Assert.Equal(0.6, camera.EfficiencyAt(450), 12);
        Assert.Equal(0.4, camera.EfficiencyAt(300), 12);
        Assert.Equal(1, new DetectorResponse().EfficiencyAt(450));
        Assert.Throws<InputException>(() => new DetectorResponse { Efficiency = [1] }.RequireValid());
        Assert.Throws<InputException>(() => new DetectorResponse { Mosaic = "RGX" }.RequireValid());
    }

    [Fact]
    public void Dust_throws_the_pupils_shadow()
    {
        SimulatedTelescope mirror = new() { ApertureMm = 200, FocalLengthMm = 1000, Obstruction = 0.4 };
        DetectorResponse camera = new() { Width = 200, Height = 200, PitchUm = 5, ReadNoiseElectrons = 0, GainElectronsPerAdu = 1, FullWellElectrons = 60_000 };
        ushort[] adu = new ushort[40_000];
        FlatTruth truth = FlatDrawing.Draw(
            new FlatRequest { Telescope = mirror, Detector = camera, LevelElectrons = 40_000, Dust = [new DustGrain(100, 100, 2.5, 0.3)] }, adu,
                RunContext.Default);
        Assert.Equal(100, truth.DustDiameterPix[0], 9);
        double At(int x) => Enumerable.Range(-3, 7).Average(k => adu[((100 + k) * 200) + x] - 500.0);
        Assert.Equal(0.7, At(135) / At(180), 0.02);
        Assert.Equal(1, At(100) / At(180), 0.02);
    }

    [Fact]
    public void Truth_of_a_single_star_is_that_of_its_pupil()
    {
        SimulatedTelescope telescope = new() { ApertureMm = 115, FocalLengthMm = 760, NollTerms = [2, 6, 8, 11], CoefficientsNm = [300, 20, 15, 25] };
        DetectorResponse camera = new() { Width = 96, Height = 96 };
        ushort[] adu = new ushort[96 * 96];
        SingleStarTruth truth = SingleStarDrawing.Draw(
            new SingleStarRequest
            {
                Telescope = telescope,
                Detector = camera,
                FocusPositionUm = -8 * telescope.FocalRatio * telescope.FocalRatio * 0.54 * 5,
                Electrons = 1e6
            }, adu, RunContext.Default);
        Assert.Equal(Math.Sqrt(400 + 225 + 625), truth.RmsNm, 0.05);
        Assert.Equal(Strehl.Exponential(truth.RmsNm / 540), truth.StrehlRatio, 5e-3);
        Assert.Equal(-5, truth.DefocusWaves, 1e-9);
        Assert.Equal(540, truth.WavelengthNm, 9);
        Assert.Equal([5, 6, 7, 8, 11], truth.NollTerms);
        double light = adu.Sum(v => (double)v - 500) * camera.GainElectronsPerAdu;
        Assert.Equal(1e6 * truth.Share, light, 6000.0);
        Assert.Throws<InputException>(() => SingleStarDrawing.Draw(new SingleStarRequest { Telescope = telescope, Detector = camera with { Height = 50 } },
            adu, RunContext.Default));
    }
}
