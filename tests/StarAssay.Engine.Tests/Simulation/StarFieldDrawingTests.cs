using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Simulation;

namespace StarAssay.Engine.Tests.Simulation;

/// <summary>Star fields against exact single images, against geometry, and against themselves on other threads.</summary>
public class StarFieldDrawingTests
{
    private static readonly SimulatedTelescope Juniper = new() { ApertureMm = 115, FocalLengthMm = 760 };

    private static readonly DetectorResponse Small = new() { Width = 200, Height = 150 };

    private static readonly StarFieldRequest OneStar = new()
    {
        Telescope = Juniper,
        Detector = Small,
        X = [83.37],
        Y = [61.82],
        ElectronRates = [1e5],
        ExposureS = 10,
        StampPix = 64,
    };

    [Fact]
    public void A_shifted_star_is_the_exact_image()
    {
        float[] frame = new float[Small.Width * Small.Height];
        StarFieldTruth truth = StarFieldDrawing.DrawExpected(OneStar, frame, RunContext.Default);
        IReadOnlyList<SpectralSample> spectrum = OneStar.Passbands[0].Spectrum(Juniper, OneStar.Sky, Small);
        DiffractionStamp exact = DiffractionImage.Draw(FieldImages.ImageAt(Juniper, OneStar.Sky, Small, spectrum, 0, 0, 0) with
        {
            Size = 64,
            OffsetXPix = 0.37,
            OffsetYPix = -0.18
        });
        double peak = exact.Values.Max();
        double worst = 0;
        for (int j = 6; j < 58; j++)
        {
            for (int i = 6; i < 58; i++)
            {
                double drawn = frame[((62 - 32 + j) * Small.Width) + 83 - 32 + i] / 1e6;
                worst = Math.Max(worst, Math.Abs(drawn - exact.Values[(j * 64) + i]) / peak);
            }
        }

        Assert.InRange(worst, 0, 1e-3);
        Assert.Equal(83.37, truth.X[0], 9);
        Assert.Equal(83.37, truth.CentroidX[0], 0.02);

        // The half-flux radius is that of the profile seen through the pixel, so it must not depend on the sampling. (Pixels
        // taken as flat squares widen it again: by 5 % here.)
        DiffractionStamp fine = DiffractionImage.Draw(FieldImages.ImageAt(Juniper, OneStar.Sky, Small, spectrum, 0, 0, 0) with { Size = 64, Oversampling = 6 });
        Assert.Equal(1, fine.HalfFluxRadiusPix() / truth.HalfFluxRadiusPix[0], 0.01);
        Assert.InRange(exact.HalfFluxRadiusPix() / truth.HalfFluxRadiusPix[0], 1.03, 1.07);
    }

    [Fact]
    public void Light_arrives_and_the_truth_says_how_much()
    {
        float[] frame = new float[Small.Width * Small.Height];
        StarFieldTruth truth = StarFieldDrawing.DrawExpected(OneStar, frame, RunContext.Default);
        double sum = frame.Sum(v => (double)v);
        Assert.Equal(1e6, truth.Electrons[0], 1e6 * 1e-4);
        Assert.Equal(truth.StampShare, sum / truth.Electrons[0], 2e-3);
        Assert.InRange(truth.StampShare, 0.96, 1);
    }

    [Trait("Compares", "bits")]
    [Fact]
    public void Same_seed_same_bits_for_any_number_of_threads()
    {
        StarFieldRequest request = new()
        {
            Telescope = Juniper with { Field = new FieldErrors { TiltXUmPerMm = 20, ComaNmPerMm = 30 } },
            Detector = new DetectorResponse { Width = 320, Height = 240, HotPixelShare = 1e-3, UnevennessRms = 0.01, DarkElectronsPerS = 0.1 },
            RandomStars = 60,
            CosmicRays = 5,
            NodesX = 2,
            NodesY = 2,
            StampPix = 48,
            Seed = 99,
            Sky = new SimulatedSky { BackgroundElectronsPerS = 12 },
        };
        ushort[] one = new ushort[320 * 240];
        ushort[] four = new ushort[320 * 240];
        ushort[] other = new ushort[320 * 240];
        StarFieldDrawing.Draw(request, one, new RunContext(1));
        StarFieldDrawing.Draw(request, four, new RunContext(4));
        StarFieldDrawing.Draw(request with { Seed = 100 }, other, new RunContext(4));
        Assert.Equal(one, four);
        Assert.NotEqual(one, other);
    }

    [Fact]
    public void Tilt_and_curvature_put_each_place_out_of_focus_as_stated()
    {
        FieldErrors field = new() { TiltXUmPerMm = 10, TiltYUmPerMm = -4, CurvatureUmPerMm2 = -2, AxisXMm = 1 };
        Assert.Equal(5 + 30 - 8 + (2 * (4 + 4)), field.DefocusUm(5, 3, 2), 12);
        StarFieldRequest request = OneStar with
        {
            Telescope = Juniper with { Field = new FieldErrors { TiltXUmPerMm = 400 } },
            NodesX = 3,
            NodesY = 1,
            X = [20, 99.5, 179],
            Y = [75, 75, 75],
            ElectronRates = [1e5, 1e5, 1e5],
        };
        StarFieldTruth truth = StarFieldDrawing.DrawExpected(request, new float[Small.Width * Small.Height], RunContext.Default);
        Assert.Equal(-79.5 * 3.76e-3 * 400, truth.DefocusUm[0], 6);
        Assert.Equal(0, truth.DefocusUm[1], 9);
        Assert.True(truth.HalfFluxRadiusPix[0] > 1.3 * truth.HalfFluxRadiusPix[1]);
        Assert.Equal(truth.HalfFluxRadiusPix[0], truth.HalfFluxRadiusPix[2], 0.02);
    }

    [Fact]
    public void Astigmatic_line_foci_lie_where_stated_and_point_along_and_across_the_radius()
    {
        // Tangential less sagittal focus = A h^2 (Welford). At the tangential focus the image is a line across the radius.
        FieldErrors field = new() { AstigmatismUmPerMm2 = -40 };
        SimulatedTelescope telescope = Juniper with { Field = field };
        DetectorResponse big = Small with { Width = 2000, Height = 2000 };
        const double PlaceX = 999.5 + (3 / 0.00376);
        double split = -40 * 9;
        SimulatedSky calm = new() { SeeingFwhmArcsec = 0.5 };
        (double Xx, double Yy) Moments(double shift)
        {
            DiffractionStamp stamp = DiffractionImage.Draw(FieldImages.ImageAt(telescope, calm, big, [new(550)], shift, PlaceX, 999.5) with { Size = 64 });
            double sum = 0;
            double xx = 0;
            double yy = 0;
            for (int k = 0; k < stamp.Values.Length; k++)
            {
                int i = (k % 64) - 32;
                int j = (k / 64) - 32;
                if (i * i < 400 && j * j < 400)
                {
                    sum += stamp.Values[k];
                    xx += stamp.Values[k] * i * i;
                    yy += stamp.Values[k] * j * j;
                }
            }

            return (xx / sum, yy / sum);
        }

        // The mean focus is that of the curvature term; the line foci lie half the split away on either side.
        (double Xx, double Yy) tangential = Moments(split / 2);
        (double Xx, double Yy) sagittal = Moments(-split / 2);
        Assert.True(tangential.Yy > 4 * tangential.Xx, $"{tangential}");
        Assert.True(sagittal.Xx > 4 * sagittal.Yy, $"{sagittal}");

        // Length of the line: 8 N W222 = split / N (twice the disc of the middle).
        double rms = Math.Abs(split) / Juniper.FocalRatio / 2 / 2 / 3.76;
        Assert.Equal(1, Math.Sqrt(tangential.Yy) / rms, 0.1);
    }

    [Fact]
    public void Coma_points_away_from_the_axis_with_the_radius()
    {
        FieldErrors field = new() { ComaNmPerMm = 20 };
        (double z5, double z6, double z7, double z8) = field.AberrationsNm(3, 4, 6.6);
        Assert.Equal((0.0, 0.0, 80.0, 60.0), (z5, z6, z7, z8));
    }

    [Fact]
    public void Distortion_and_lateral_color_move_stars_along_the_radius()
    {
        FieldErrors field = new() { DistortionPerMm2 = 1e-5, AxisXMm = 0.5 };
        (double x, double y) = field.Distort(3.5, 4, 100);
        Assert.Equal(0.5 + (3 * (1 + 25e-5) * 1.0001), x, 12);
        Assert.Equal(4 * (1 + 25e-5) * 1.0001, y, 12);

        // Two wavelengths drawn together: the red image lies farther out. Between two points a lens is straight over the inverse
        // wavelength (Cauchy's formula to first order).
        SimulatedTelescope telescope = Juniper with { ColorWavelengthsNm = [450, 650], ColorFocusUm = [0, 0], LateralColorPpm = [0, 400] };
        DetectorResponse big = Small with { Width = 4000 };
        IReadOnlyList<SpectralSample> band = new SimulatedPassband { LowNm = 400, HighNm = 700, Samples = 2 }.Spectrum(telescope, new SimulatedSky(), big);
        DiffractionImageRequest image = FieldImages.ImageAt(telescope, new SimulatedSky(), big, band, 0, 3999, 74.5);
        double h = 1999.5 * 0.00376;
        Assert.Equal(h * 1000 * 1e-6 * (telescope.ScaleAt(625) - telescope.ScaleAt(475)), image.Spectrum[1].OffsetXUm - image.Spectrum[0].OffsetXUm, 9);
        Assert.Equal(400 * ((1 / 475.0) - (1 / 625.0)) / ((1 / 450.0) - (1 / 650.0)), telescope.ScaleAt(625) - telescope.ScaleAt(475), 9);
    }

    [Fact]
    public void A_mosaic_gets_each_color_in_its_own_pixels()
    {
        StarFieldRequest request = OneStar with
        {
            Detector = Small with { Mosaic = "RGGB" },
            Passbands =
            [
                new SimulatedPassband { Color = "R", LowNm = 600, HighNm = 680, FluxShare = 0.5, Samples = 1 },
                new SimulatedPassband { Color = "G", LowNm = 500, HighNm = 580, FluxShare = 1, Samples = 1 },
                new SimulatedPassband { Color = "B", LowNm = 420, HighNm = 490, FluxShare = 0, Samples = 1 },
            ],
        };
        float[] frame = new float[Small.Width * Small.Height];
        StarFieldDrawing.DrawExpected(request, frame, RunContext.Default);
        double Sum(int px, int py) => frame.Where((_, k) => (k % Small.Width & 1) == px && (k / Small.Width & 1) == py).Sum(v => (double)v);
        Assert.Equal(0, Sum(1, 1));
        Assert.Equal(1, Sum(0, 0) / 0.5 / Sum(1, 0), 0.1);
        Assert.Equal(1e6 / 4, Sum(1, 0), 1e6 * 0.02);
        Assert.Throws<InputException>(() => StarFieldDrawing.DrawExpected(request with { Passbands = [new()] }, frame, RunContext.Default));
    }

    [Fact]
    public void Random_stars_keep_their_distance_and_their_brightness()
    {
        StarFieldRequest request = OneStar with
        {
            X = [],
            Y = [],
            ElectronRates = [],
            RandomStars = 150,
            SeparationPix = 8,
            FaintestRate = 100,
            BrightestRate = 1e5
        };
        StarFieldTruth truth = StarFieldDrawing.DrawExpected(request, new float[Small.Width * Small.Height], RunContext.Default);
        Assert.True(truth.X.Length > 140);
        for (int i = 0; i < truth.X.Length; i++)
        {
            Assert.InRange(truth.Electrons[i], 990, 1.01e6);
            for (int k = 0; k < i; k++)
            {
                Assert.True(Math.Pow(truth.IdealX[i] - truth.IdealX[k], 2) + Math.Pow(truth.IdealY[i] - truth.IdealY[k], 2) >= 64);
            }
        }
    }

    [Fact]
    public void What_a_frame_cannot_show_is_said()
    {
        float[] frame = new float[Small.Width * Small.Height];
        Assert.Empty(StarFieldDrawing.DrawExpected(OneStar, frame, RunContext.Default).Notes);
        StarFieldRequest poor = OneStar with
        {
            Telescope = Juniper with { Field = new FieldErrors { TiltXUmPerMm = 600 }, Stops = [new ConeStop(0.1, 1)] },
            StampPix = 16,
            NodesX = 2,
            NodesY = 1,
        };
        string[] codes = [.. StarFieldDrawing.DrawExpected(poor, frame, RunContext.Default).Notes.Select(n => n.Code)];
        Assert.Equal(["simulation.light-outside", "simulation.coarse-grid", "simulation.half-cut"], codes);
    }

    [Fact]
    public void Requests_that_contradict_themselves_are_refused()
    {
        float[] frame = new float[Small.Width * Small.Height];
        Assert.Throws<InputException>(() => StarFieldDrawing.DrawExpected(OneStar with { X = [1, 2] }, frame, RunContext.Default));
        Assert.Throws<InputException>(() => StarFieldDrawing.DrawExpected(OneStar, new float[7], RunContext.Default));
        Assert.Throws<InputException>(() => StarFieldDrawing.DrawExpected(OneStar with { Passbands = [] }, frame, RunContext.Default));
        Assert.Throws<InputException>(() => StarFieldDrawing.DrawExpected(OneStar with { Telescope = Juniper with { NollTerms = [8] } }, frame,
            RunContext.Default));
    }
}
