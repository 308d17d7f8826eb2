using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.Views;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>Views of a pupil against closed forms. Tables: recomputed from the formulas named, as the sources give them.</summary>
public class ViewsTests
{
    private const double Wavelength = 550;

    // Goodman, Introduction to Fourier Optics: MTF of a clear circle, (2/pi)[arccos v - v sqrt(1 - v^2)].
    [Theory]
    [InlineData(0.1, 0.872889)]
    [InlineData(0.3, 0.623838)]
    [InlineData(0.5, 0.391002)]
    [InlineData(0.7, 0.188120)]
    [InlineData(0.9, 0.037386)]
    public void Mtf_of_a_clear_circle(double v, double expected)
    {
        Modulation m = Modulations.Compute(Pupil(200, 0));
        int k = (int)Math.Round(v * 200);

        // 0.002: a 200-sample pupil with anti-aliased rim.
        Assert.Equal(expected, m.MeanMtf[k], 0.002);
        Assert.Equal(expected, m.HorizontalMtf[k], 0.002);
        Assert.Equal(v / (Wavelength * 1e-6 * 7), m.FrequencyPerMm[k], 1e-9);
    }

    // Annular aperture, O'Neill 1956 (J. Opt. Soc. Am. 46, 285), values by the overlap of two annuli.
    [Theory]
    [InlineData(0.1, 0.8109)]
    [InlineData(0.3, 0.4596)]
    [InlineData(0.5, 0.3252)]
    [InlineData(0.8, 0.1168)]
    public void Mtf_of_a_33_percent_annulus(double v, double expected)
    {
        Modulation m = Modulations.Compute(Pupil(200, 0.33));
        Assert.Equal(expected, m.MeanMtf[(int)Math.Round(v * 200)], 0.003);
    }

    // Clear circle with a quarter wave of defocus.
    [Theory]
    [InlineData(0.2, 0.6586)]
    [InlineData(0.5, 0.2875)]
    [InlineData(0.8, 0.0924)]
    public void Mtf_with_a_quarter_wave_of_defocus(double v, double expected)
    {
        Modulation m = Modulations.Compute(Pupil(200, 0, (x, y) => 0.25 * Wavelength * ((x * x) + (y * y))));
        Assert.Equal(expected, m.MeanMtf[(int)Math.Round(v * 200)], 0.003);
    }

    // Goodman's closed form solved for the diameter: contrast 0.2875 (a quarter wave of defocus, half of the cutoff) is that of a clear
    // circle at 0.5973 of its cutoff (SciPy's brentq), so of an aperture of 0.5 / 0.5973 = 0.8371 of the diameter.
    [Fact]
    public void An_aperture_with_the_contrast_of_a_quarter_wave_of_defocus()
    {
        Assert.Equal(0.2875, Airy.Mtf(0.59731), 1e-4);
        double detail = Wavelength * 1e-6 / 100 * (180 * 3600 / Math.PI) / 0.5;
        ContrastCurves shown = Contrasts.Compute(
            new ContrastRequest
            {
                Map = Pupil(200, 0, (x, y) => 0.25 * Wavelength * ((x * x) + (y * y))),
                ApertureMm = 100,
                DetailArcsec = [detail],
            },
            RunContext.Default);
        Assert.Equal(0.2875, shown.Contrast[0], 0.003);
        Assert.Equal(Airy.Mtf(0.5), shown.ClearContrast[0], 1e-12);
        Assert.Equal(shown.Contrast[0], Airy.Mtf(0.5 * 100 / shown.EquivalentApertureMm[0]), 1e-6);
        Assert.Equal(83.71, shown.EquivalentApertureMm[0], 0.3);
        Assert.Equal(0.810569, shown.CenterRatio, 0.003);
        Assert.True(shown.OwnRayleighArcsec > 0.98 * shown.RayleighArcsec);
    }

    // Rayleigh 1881; Born & Wolf ch. 8: EE = 1 - J0^2 - J1^2. The dark rings and r = 5 and 10 lambda N.
    [Theory]
    [InlineData(1.219670, 0.837785)]
    [InlineData(2.233131, 0.909931)]
    [InlineData(5, 0.960740)]
    [InlineData(10, 0.980056)]
    public void Encircled_energy_of_a_clear_circle(double radius, double expected)
    {
        Modulation m = Modulations.Compute(Pupil(200, 0), radii: 2, largestRadius: radius);
        Assert.Equal(0, m.EncircledEnergy[0], 1e-12);
        Assert.Equal(expected, m.EncircledEnergy[1], 0.002);
    }

    // Born & Wolf ch. 8.8: [sin(pi W)/(pi W)]^2.
    [Theory]
    [InlineData(0.25, 0.810569)]
    [InlineData(0.5, 0.405285)]
    [InlineData(1.0, 0)]
    public void Center_of_the_image_under_defocus(double waves, double expected)
    {
        // W020 = dz / (8 N^2): one wave at N = 7 and 550 nm is 215.6 um.
        double shift = waves * 8 * 49 * Wavelength * 1e-3;
        FocusedImage image = FocusedImages.Draw(new(Pupil(160, 0), 3, 61, shift), RunContext.Default);
        Assert.Equal(expected, image.CenterRatio, 0.002);
        Assert.Equal(image.CenterRatio, image.Intensity[30, 30], 1e-9);
    }

    [Fact]
    public void First_dark_ring_and_first_bright_ring_of_the_airy_pattern()
    {
        // Radii 1.219670 and 1.634719 lambda N, heights 0 and 0.017498 (Born & Wolf ch. 8).
        FocusedImage image = FocusedImages.Draw(new(Pupil(200, 0), 1.634719, 3, 0), RunContext.Default);
        Assert.Equal(0.017498, image.Intensity[1, 2], 0.0002);
        FocusedImage dark = FocusedImages.Draw(new(Pupil(200, 0), 1.219670, 3, 0), RunContext.Default);
        Assert.Equal(0, dark.Intensity[1, 0], 1e-5);
        Assert.Equal(1.219670 * 0.55 * 7, dark.AiryRadiusUm, 1e-4);
    }

    [Fact]
    public void A_wave_ahead_on_the_right_sends_the_image_to_the_left()
    {
        // Ray mapping: displacement -2 N dW/drho, so a tilt of 0.5 wave at the rim moves the image by -1 lambda N.
        FocusedImage image = FocusedImages.Draw(new(Pupil(128, 0, (x, _) => 0.5 * Wavelength * x), 2, 5), RunContext.Default);
        Assert.Equal(1, image.Intensity[2, 1], 1e-6);
    }

    // Geometry: line pairs across the pupil = |dz| / (N p); Malacara (ed.), "Optical Shop Testing", chapter on the Ronchi test, from memory.
    [Theory]
    [InlineData(4000, 100, 5.714)]
    [InlineData(-4000, 100, 5.714)]
    [InlineData(6000, 150, 5.714)]
    public void Ronchi_lines_of_defocus(double shift, double period, double pairs)
    {
        ShadowView view = ShadowTests.Draw(new(Pupil(160, 0), Mask.Ruling, shift, period));
        double[] profile = [.. Enumerable.Range(0, 160).Select(x => Enumerable.Range(70, 20).Average(y => view.Brightness[y, x]))];

        // The axis looks through the middle of a gap: the lines are an even cosine series, and diffraction only softens
        // them. The strongest cosine gives their number; 3 % is what so few lines allow.
        // Finer rulings are drawn too, but there the ray picture itself fails: orders overlap.
        double best = Enumerable.Range(300, 600).Select(k => k / 100.0).MaxBy(f => Cosine(profile, f));
        Assert.Equal(pairs, best, 0.03 * pairs);
    }

    [Theory]
    [InlineData(0)]
    [InlineData(0.5)]
    [InlineData(-0.5)]
    public void Knife_edge_of_a_defocused_wave(double rho)
    {
        // Outside focus the ray from rho lands at -rho dz / (2 N): lit is what lands right of the knife.
        const double Shift = 3000;
        double knife = -rho * Shift / (2 * 7);
        ShadowView view = ShadowTests.Draw(new(Pupil(160, 0), Mask.Knife, Shift, PositionUm: knife));
        int middle = (int)Math.Round((rho + 1) * 80);
        double left = Enumerable.Range(middle - 20, 12).Average(x => view.Brightness[80, x]);
        double right = Enumerable.Range(middle + 8, 12).Average(x => view.Brightness[80, x]);
        Assert.True(left > 0.7, $"left of the boundary {left:F2} should be lit");
        Assert.True(right < 0.1, $"right of the boundary {right:F2} should be dark");
    }

    [Fact]
    public void Fringes_are_counted_in_waves()
    {
        Interferogram fringes = Interferograms.Draw(new(Pupil(100, 0, (x, _) => 1.5 * Wavelength * x), 0, 0));

        // 1.5 waves from the center to the rim are three fringes across: bright at rho = 0, 2/3, -2/3; dark at 1/3.
        Assert.Equal(1, fringes.Brightness[50, 50], 0.01);
        Assert.Equal(0, fringes.Brightness[50, 66], 0.01);
        Assert.True(double.IsNaN(fringes.Brightness[0, 0]));
    }

    [Fact]
    public void A_map_that_is_not_square_is_refused()
    {
        var map = new PupilMap { WavefrontNm = new double[16, 12], FocalRatio = 7, WavelengthNm = 550 };
        InputException error = Assert.Throws<InputException>(() => Modulations.Compute(map));
        Assert.Contains("16 x 12", error.Message, StringComparison.Ordinal);
    }

    private static double Cosine(double[] profile, double cyclesAcross)
    {
        double mean = profile.Average();
        double sum = 0;
        for (int k = 0; k < profile.Length; k++)
        {
            double rho = ((2 * k) + 1 - profile.Length) / (double)profile.Length;
            sum += (profile[k] - mean) * Math.Cos(Math.PI * cyclesAcross * rho);
        }

        return sum;
    }

    private static PupilMap Pupil(int n, double obstruction, Func<double, double, double>? wavefrontNm = null)
    {
        double[,] w = new double[n, n];
        double[,] a = new double[n, n];
        for (int y = 0; y < n; y++)
        {
            for (int x = 0; x < n; x++)
            {
                double u = ((2 * x) + 1 - n) / (double)n;
                double v = ((2 * y) + 1 - n) / (double)n;
                a[y, x] = Coverage(u, v, 1.0 / n, 1) - Coverage(u, v, 1.0 / n, obstruction);
                w[y, x] = a[y, x] > 0 ? wavefrontNm?.Invoke(u, v) ?? 0 : double.NaN;
            }
        }

        return new PupilMap { WavefrontNm = w, Amplitude = a, FocalRatio = 7, WavelengthNm = Wavelength };
    }

    // Share of a sample inside a circle, by 8 x 8 points: the rim must not be a staircase.
    private static double Coverage(double u, double v, double half, double radius)
    {
        int inside = 0;
        for (int j = 0; j < 8; j++)
        {
            for (int i = 0; i < 8; i++)
            {
                double x = u + (half * ((i - 3.5) / 4));
                double y = v + (half * ((j - 3.5) / 4));
                inside += (x * x) + (y * y) < radius * radius ? 1 : 0;
            }
        }

        return inside / 64.0;
    }
}
