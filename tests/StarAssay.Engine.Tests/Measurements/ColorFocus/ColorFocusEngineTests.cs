using StarAssay.Engine.Imaging;
using StarAssay.Engine.Measurements.ColorFocus;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Simulation;
using Xunit;

namespace StarAssay.Engine.Tests.Measurements.ColorFocus;

public class ColorFocusEngineTests
{
    private static Frame Draw(GlassLens? lens, double[] nm, double sensorUm, int seed, int height = 90)
    {
        double[] curveNm = [.. Enumerable.Range(0, 90).Select(i => 370 + (5.0 * i))];
        var scene = new SpectrumScene
        {
            Width = nm.Length,
            Height = height,
            WavelengthsNm = nm,
            CurveWavelengthNm = curveNm,
            CurveFocusUm = [.. curveNm.Select(w => lens?.FocusShiftUm(w, 700, 550) ?? 0)],
            SensorUm = sensorUm,
            FocalRatio = 7,
            FocalLengthMm = 700,
            PitchUm = 5,
            Electrons = 8e6,
            Seed = seed,
        };
        var pixels = new float[nm.Length * height];
        SpectrumSimulator.Draw(scene, pixels);
        return new Frame
        {
            Pixels = RawPixels.FromFloats(pixels, nm.Length, height),
            Name = $"s{seed}",
            GainElectronsPerAdu = 1,
            ReadNoiseElectrons = 3,
            PitchUm = 5,
            SaturationAdu = 65535,
        };
    }

    private static double[] Scale(int width) => [.. Enumerable.Range(0, width).Select(x => 395 + (0.9 * x))];

    [Fact]
    public void Profile_is_normalized_and_its_derivatives_are_right()
    {
        // slow twin: central differences, over steps that the seventh digit of the sums does not disturb
        var grid = new ProfileGrid(-40, 81, 162);
        var model = new ProfileModel(grid, DefocusTransfer.For(0.25), 520, 6, 4, 0.1);
        ProfileModel.Work work = model.NewWork();
        double[] p = new double[81], z = new double[81], s = new double[81], v = new double[81], c = new double[81], a = new double[81], b = new double[81], x = new double[81];
        model.Evaluate(180, 3, 0.4, 0.3, work, p, z, s, v, c);
        Assert.Equal(1, p.Sum(), 0.02); // wings beyond the window hold the rest
        Assert.Equal(0.3, Enumerable.Range(0, 81).Sum(i => (i - 40) * p[i]) / p.Sum(), 0.02);
        foreach ((double dz, double ds, double dv, double dc, double[] slope) in new[] { (1.0, 0.0, 0.0, 0.0, z), (0.0, 0.01, 0.0, 0.0, s), (0.0, 0.0, 0.01, 0.0, v), (0.0, 0.0, 0.0, 0.01, c) })
        {
            model.Evaluate(180 + dz, 3 * Math.Exp(ds), 0.4 + dv, 0.3 + dc, work, a, x, x, x, x);
            model.Evaluate(180 - dz, 3 * Math.Exp(-ds), 0.4 - dv, 0.3 - dc, work, b, x, x, x, x);
            double step = 2 * (dz + ds + dv + dc), top = slope.Max(Math.Abs);
            for (int i = 0; i < 81; i++)
            {
                Assert.Equal((a[i] - b[i]) / step, slope[i], 0.01 * top);
            }
        }
    }

    [Fact]
    public void Far_out_of_focus_the_profile_is_that_of_a_disc()
    {
        // Uniform disc of radius R: chord length (2 / pi R^2) sqrt(R^2 - y^2); R = dz / (2 N) (geometry), 1 % at > 5 waves
        var grid = new ProfileGrid(-40, 81, 162);
        var model = new ProfileModel(grid, DefocusTransfer.For(0), 500, 5, 4, 0);
        double[] p = new double[81], x = new double[81];
        model.Evaluate(1000, 2, 0, 0, model.NewWork(), p, x, x, x, x);
        double r = 1000 / (2.0 * 5) / 4;
        Assert.Equal(2 / (Math.PI * r), p[40], 0.03 * p[40]);
        Assert.Equal(2 / (Math.PI * r * r) * Math.Sqrt((r * r) - 225), p[55], 0.03 * p[55]);
    }

    [Trait("Compares", "bits")]
    [Fact]
    public void Focus_run_returns_the_curve_it_was_drawn_with_for_any_threads()
    {
        GlassLens lens = GlassLens.Doublet(GlassCatalog.Find("S-FPL51"), GlassCatalog.Find("N-KZFS4"));
        double[] nm = Scale(340), position = [-250, 0, 250];
        Frame[] frames = [.. position.Select((p, i) => Draw(lens, nm, p, i))];
        var request = new ColorFocusRequest
        {
            FocalRatio = 7,
            PositionsUm = position,
            WavelengthsNm = nm,
            LimitsNm = [400, 700],
            Disperser = Disperser.Prism,
            Replicates = 40,
            Reduction = new SpectrumRequest { Bins = 24 },
            BandNm = [420, 680],
        };
        ColorFocusResult one = ColorFocusMeasurement.Measure(frames, request, new RunContext(1));
        ColorFocusResult two = ColorFocusMeasurement.Measure(frames, request, new RunContext(2));
        Assert.Equal(one.SmoothUm, two.SmoothUm);
        double square = 0, span = 0;
        int n = 0;
        for (int j = 0; j < one.WavelengthNm.Length; j++)
        {
            if (one.Used[j])
            {
                double truth = lens.FocusShiftUm(one.WavelengthNm[j], 700, 550);
                square += Math.Pow(one.SmoothUm[j] - truth, 2);
                span = Math.Max(span, Math.Abs(truth));
                n++;
            }
        }

        Assert.True(n > 15);

        // The figures of merit come along, and are those of the true curve for the same light: a tenth of the depth of focus
        // (51 um) moves 2 % of the light at most.
        MeritResult truthMerit = FiguresOfMerit.Evaluate(
            new MeritRequest
            {
                WavelengthNm = one.WavelengthNm,
                ShiftUm = [.. one.WavelengthNm.Select(w => lens.FocusShiftUm(w, 700, 550))],
                Weight = one.RelativeFlux,
                FocalRatio = 7,
                BandNm = [420, 680],
            },
            RunContext.Default);
        Assert.Equal(truthMerit.PolychromaticStrehl.Value, one.BandMerit!.PolychromaticStrehl.Value, 0.02);
        Assert.Equal(["in_focus_fraction", "polychromatic_strehl", "focus_range"], one.Quantities.Select(q => q.Name));
        Quantity fraction = one.Quantities[0];
        Assert.Equal((one.BandMerit.InFocusFraction, 3, "spectra"), (fraction.Value, fraction.Count, fraction.Counted));
        Assert.Equal(fraction.Value.Uncertainty > 0 ? 0 : one.BandMerit.LightStep, fraction.MayBeLess);
        Assert.Null(ColorFocusMeasurement.Measure(frames, request with { BandNm = [] }, new RunContext(2)).BandMerit);
        Assert.True(Math.Sqrt(square / n) < Math.Max(3, 0.02 * span), $"{Math.Sqrt(square / n)} um RMS of {span}");
    }

    [Fact]
    public void Lamp_lines_are_those_published()
    {
        // Vacuum wavelengths of NIST lists (Xe), angstrom: 4502.2410, 4625.5712, 4672.5337, 4735.4753, 8233.8964, 8282.3921
        double[] lines = LampLines.Find(["Xe"]);
        foreach (double vacuum in new[] { 450.22410, 462.55712, 467.25337, 473.54753, 480.83596, 484.46393, 823.38964, 828.23921, 882.18324 })
        {
            double air = AirIndex.VacuumToAir(vacuum);
            Assert.True(lines.Min(l => Math.Abs(l - air)) < 0.005, $"{air}");
        }
    }

    [Fact]
    public void Narrowing_the_band_of_a_refractor_never_lowers_the_in_focus_fraction()
    {
        foreach (string[] pair in new[] { new[] { "N-BK7", "F2" }, ["S-FPL51", "N-KZFS4"], ["S-FPL53", "N-KZFS4"], ["CaF2", "N-ZK7"] })
        {
            GlassLens lens = GlassLens.Doublet(GlassCatalog.Find(pair[0]), GlassCatalog.Find(pair[1]));
            double[] nm = [.. Enumerable.Range(0, 101).Select(i => 390 + (3.2 * i))];
            MeritResult At(double lo, double hi) => FiguresOfMerit.Evaluate(new MeritRequest
            {
                WavelengthNm = nm,
                ShiftUm = [.. nm.Select(w => lens.FocusShiftUm(w, 800, 550))],
                Weight = [.. nm.Select(_ => 1.0)],
                FocalRatio = 7,
                FocalLengthMm = 800,
                BandNm = [lo, hi],
                Focus = FocusChoice.BestInFocus,
            }, RunContext.Default);
            // The second band: where V(lambda), the photopic curve of CIE 018:2019, is above a hundredth.
            (double from, double to) = Passbands.Edges("V(lambda)");
            Assert.Equal((430, 680), (from, to));
            Assert.True(At(from, to).InFocusFraction.Value >= At(400, 700).InFocusFraction.Value - 1e-9);
        }
    }

    /// <summary>A curve that is flat to a tenth of the depth of focus keeps all light in focus, in every replicate: the fraction is 1
    /// with no spread, and only the step of the sum (1 nm of 300) can be missing.</summary>
    [Fact]
    public void A_perfect_color_correction_has_a_one_sided_bound()
    {
        double[] nm = [.. Enumerable.Range(0, 61).Select(i => 395 + (5.5 * i))];
        MeritResult Merit(double[] weight, double kelvin) => FiguresOfMerit.Evaluate(
            new MeritRequest
            {
                WavelengthNm = nm,
                ShiftUm = new double[61],
                ReplicatesUm = [.. Enumerable.Range(0, 61 * 40).Select(i => 5 * Math.Sin(i))],
                Weight = weight,
                LightKelvin = kelvin,
                FocalRatio = 7,
                FocalLengthMm = 700,
            },
            RunContext.Default);
        MeritResult flat = Merit([], double.NaN);
        Assert.Equal(new Measured(1, 0, ""), flat.InFocusFraction);
        Assert.Equal(1.0 / 301, flat.LightStep, 1e-9);

        // A star's light by temperature is the same as its weights handed over.
        MeritResult star = Merit([], 9600), given = Merit([.. nm.Select(w => 3 * StellarLight.OnSilicon(w, 9600))], double.NaN);
        Assert.Equal(given.PolychromaticStrehl.Value, star.PolychromaticStrehl.Value, 1e-12);
        Assert.Equal(given.LightStep, star.LightStep, 1e-12);
        Assert.True(star.LightStep > flat.LightStep);
    }

    /// <summary>In focus up to 550 nm, then a straight line of the slope a: it leaves the depth 2 lambda N^2 at 550 a / (a - 2 N^2 / 1000),
    /// in closed form. A change of the slope that moves this by a few hundredths of the step of the sum moves the fraction as much.</summary>
    [Fact]
    public void The_in_focus_fraction_follows_a_curve_that_moves_by_less_than_a_step_of_the_sum()
    {
        double[] nm = [.. Enumerable.Range(0, 311).Select(i => 395.0 + i)], slopes = [.. Enumerable.Range(0, 41).Select(i => 2 + (1e-4 * (i - 20)))];
        double[] Curve(double slope) => [.. nm.Select(w => slope * Math.Max(0, w - 550))];
        double Leaves(double slope) => 550 * slope / (slope - 0.098);
        MeritResult merit = FiguresOfMerit.Evaluate(
            new MeritRequest
            {
                WavelengthNm = nm,
                ShiftUm = Curve(2),
                ReplicatesUm = [.. slopes.SelectMany(Curve)],
                FocalRatio = 7,
                FocalLengthMm = 700,
                Focus = FocusChoice.Reference,
            },
            RunContext.Default);

        // Whole cells of 1 nm, the first and last of which reach half a step beyond the band of 400 to 700 nm.
        double expected = (Leaves(2) - 399.5) / 301, spread = CurveAssembly.Spread(slopes.Select(a => Leaves(a) / 301));
        Assert.Equal(expected, merit.InFocusFraction.Value, 0.1 / 301);
        Assert.InRange(spread * 301, 0.01, 0.1);
        Assert.Equal(spread, merit.InFocusFraction.Uncertainty, 0.1 * spread);
    }

    [Theory]
    [InlineData("B", 436.1)]
    [InlineData("V", 544.8)]
    [InlineData("R", 640.7)]
    public void Passbands_have_their_published_effective_wavelength(string band, double nm)
    {
        // Bessell, Castelli and Plez 1998, A&A 333, 231, table A2 (from memory): of an A0 star, here a black body of 9,600 K.
        double sum = 0, mean = 0;
        for (double w = 360; w <= 900; w++)
        {
            double light = Math.Pow(w, -5) / (Math.Exp(1.438776877e7 / (w * 9600)) - 1) * Passbands.At(band, w);
            sum += light;
            mean += light * w;
        }

        Assert.Equal(nm, mean / sum, 6.0);
    }

    [Fact]
    public void Secondary_spectrum_of_the_classical_achromat()
    {
        // N-BK7 / F2: F = C is f/2002 longer than d (thin lens, published glass data)
        GlassLens lens = GlassLens.Doublet(GlassCatalog.Find("N-BK7"), GlassCatalog.Find("F2"));
        double[] nm = [.. Enumerable.Range(0, 321).Select(i => 390.0 + i)];
        MeritResult merit = FiguresOfMerit.Evaluate(new MeritRequest
        {
            WavelengthNm = nm,
            ShiftUm = [.. nm.Select(w => lens.FocusShiftUm(w, 1000, 550))],
            Weight = [.. nm.Select(_ => 1.0)],
            FocalRatio = 10,
            FocalLengthMm = 1000,
        }, RunContext.Default);
        Assert.Equal(1.0 / 2002, merit.SecondarySpectrum.Value, 1e-6);
    }
}
