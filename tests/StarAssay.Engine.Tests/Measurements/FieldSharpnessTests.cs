using System.Numerics;
using StarAssay.Engine.Measurements.FieldSharpness;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Measurements;

/// <summary>Truth: star tables made from closed forms (the split of the lengthening, the sharp circle, formats), the moments of ray bundles
/// over the pupil by quadrature, and transfers multiplied.</summary>
public class FieldSharpnessTests
{
    private const int Width = 3000, Height = 2000;
    private const double Pitch = 4;

    /// <summary>E = c + a z^2 by definition: c is what all share, a the radial part in the corners.</summary>
    [Theory]
    [InlineData(0.05, 30, 0.12)]
    [InlineData(0.00, 0, -0.15)]
    [InlineData(0.08, -60, 0.00)]
    public void The_lengthening_is_split_as_it_was_made(double common, double directionDeg, double radial)
    {
        Complex shared = Complex.FromPolarCoordinates(common, directionDeg * Math.PI / 90);
        FieldSharpnessResult found = Measure(_ => 9, z => shared + (radial * z * z));
        Assert.Equal(radial, found.RadialLengthening.Value, 0.002 + (2 * found.RadialLengthening.Uncertainty));
        Assert.Equal(common, found.CommonLengthening.Value, 0.002 + (2 * found.CommonLengthening.Uncertainty));
        if (common > 0)
        {
            Assert.Equal(directionDeg, found.CommonDirectionDeg, 3.0);
        }

        Assert.True(found.OtherLengthening.Value < 0.01, $"{found.OtherLengthening}");

        // Corners of a 3:2 frame stand at +-33.69 degrees.
        double expected = Math.Sqrt(new[] { 1, -1 }.Average(s => Math.Pow((shared + (radial * Corner(s) * Corner(s))).Magnitude, 2)));
        Assert.Equal(expected, found.CornerEllipticity.Value, 0.002 + (2 * found.CornerEllipticity.Uncertainty));
    }

    /// <summary>FWHM^2 = 64 + 100 r^2 um^2, r from the middle over half the diagonal of 7.211 mm: 8 um in the middle, 12.806 in the corners, 9.6 (1.2 times
    /// the middle's) at r^2 = 0.2816.</summary>
    [Fact]
    public void Widths_formats_and_the_sharp_circle_follow_the_closed_form()
    {
        FieldSharpnessResult found = Measure(z => Math.Sqrt(64 + (100 * Square(z))), _ => Complex.Zero);
        Assert.Equal(8, found.CenterFwhm.Value, 0.02 * 8);
        Assert.Equal(Math.Sqrt(164), found.CornerFwhm.Value, 0.02 * 12.8);
        Assert.Equal(Math.Sqrt(164) / 8, found.CornerToCenter.Value, 0.03);
        double half = 0.5 * Math.Sqrt((12.0 * 12) + (8 * 8)), circle = 2 * half * Math.Sqrt(0.2816);
        Assert.Equal(circle, found.SharpCircle.Value, 0.04 * circle);
        Assert.False(found.SharpEverywhere);

        // 12 x 8 mm hold one of the usual formats; its corners stand at 4.5 mm.
        Assert.Equal(["this frame", "7.2 x 5.4 mm (1/1.8 inch)"], found.Formats.Select(f => f.Format));
        Assert.Equal(Math.Sqrt(64 + (100 * Math.Pow(4.5 / half, 2))), found.Formats[1].Corner.Value, 0.02 * 10);
        Assert.Equal(Math.Sqrt(64 + (100 * 0.25)), found.Formats[0].MidField.Value, 0.02 * 9.4);
        Assert.Contains(found.Causes, c => c is { Cause: "curvature", Verdict: not "absent" });

        FieldSharpnessResult level = Measure(_ => 8, _ => Complex.Zero);
        Assert.True(level.SharpEverywhere);
        Assert.Equal(2 * half, level.SharpCircle.Value, 1e-6);
        Assert.DoesNotContain(level.Causes, c => c.Verdict == "present");
    }

    [Fact]
    public void Stars_long_in_one_direction_are_no_fault_of_the_field()
    {
        FieldSharpnessResult found = Measure(_ => 9, _ => Complex.FromPolarCoordinates(0.1, 1.2));
        Assert.Equal("present", found.Causes.Single(c => c.Cause == "trailing").Verdict);
        Assert.All(found.Causes.Where(c => c.Cause != "trailing"), c => Assert.NotEqual("present", c.Verdict));
        Assert.Contains(found.Notes, n => n.Code == "field-sharpness.trailing");
    }

    /// <summary>Moments over the pupil of 2 D p + 2 A p* + C* p^2 + 2 C |p|^2, summed ray by ray, against the closed forms in the pattern's remarks.</summary>
    [Fact]
    public void The_pattern_holds_the_moments_of_the_rays()
    {
        double d = 0.7;
        Complex a = new(0.3, -0.5), c = new(0.4, 0.6);
        (double weights, Complex first, double square, Complex turned, Complex third) = (0, Complex.Zero, 0, Complex.Zero, Complex.Zero);
        var rays = new List<Complex>();
        const int Side = 400;
        for (int j = 0; j < Side; j++)
        {
            for (int i = 0; i < Side; i++)
            {
                Complex p = new((2.0 * (i + 0.5) / Side) - 1, (2.0 * (j + 0.5) / Side) - 1);
                if (p.Magnitude < 1)
                {
                    rays.Add((2 * d * p) + (2 * a * Complex.Conjugate(p)) + (Complex.Conjugate(c) * p * p) + (2 * c * Square(p)));
                }
            }
        }

        weights = rays.Count;
        first = rays.Aggregate(Complex.Zero, (s, r) => s + r) / weights;
        foreach (Complex ray in rays)
        {
            Complex e = ray - first;
            square += Square(e) / weights;
            turned += e * e / weights;
            third += e * Square(e) / weights;
        }

        double a2 = Square(a), c2 = Square(c);
        Assert.Equal((2 * ((d * d) + a2)) + (2 * c2 / 3), square, 2e-3);
        Assert.Equal(0, ((4 * d * a) + (c * c / 3) - turned).Magnitude, 3e-3);
        Complex expected = (c * ((8 * d * d) + (4 * a2) + c2) / 3) + (4 * d * a * Complex.Conjugate(c));
        Assert.Equal(0, (expected - third).Magnitude, 6e-3);
    }

    /// <summary>Jitter and pixels against closed forms where all is Gaussian, defocus under seeing against the transform of the transfers.</summary>
    [Fact]
    public void Focused_widths_take_motion_and_pixels()
    {
        static double Of(double jitter = 0, double trail = 0, double pixel = 0, double defocus = 0, double seeing = 0) => FocusedWidth.Arcsec(new()
        {
            ApertureMm = 100,
            WavelengthNm = 550,
            SeeingFwhmArcsec = seeing,
            JitterArcsec = jitter,
            TrailArcsec = trail,
            PixelArcsec = pixel,
            DefocusNm = defocus,
        });
        Assert.Equal(2.354820 * 12, Of(jitter: 12), 0.01 * 28.3);

        // A Gaussian of s convolved with a pixel of side p along each axis: half of the height at x with erf((x + p/2) / (s sqrt 2)) - erf((x - p/2) /
        // (s sqrt 2)) = erf(p / (2 s sqrt 2)); the area above half of a nearly round image is that of the circle to 1 %.
        double s = 6, p = 8;
        double Half(double x) => MathNet.Numerics.SpecialFunctions.Erf((x + (p / 2)) / (s * Math.Sqrt(2)))
            - MathNet.Numerics.SpecialFunctions.Erf((x - (p / 2)) / (s * Math.Sqrt(2))) - MathNet.Numerics.SpecialFunctions.Erf(p / (2 * s * Math.Sqrt(2)));
        double expected = 2 * MathNet.Numerics.RootFinding.Brent.FindRoot(Half, 0.1, 24, 1e-9);
        Assert.Equal(expected, Of(jitter: s, pixel: p), 0.015 * expected);

        // Half a wave of defocus under seeing: the Hankel transform of Hopkins' transfer times that of the air, at half of its height.
        double r0 = Seeing.R0FromFwhm(2, 550), unit = 550e-6 / 100 * Seeing.ArcsecPerRadian;
        double At(double arcsec) => Quadrature.Integrate(
            v => v * Defocus.Transfer(v, 0.5) * Seeing.Mtf(v * 0.1, r0) * MathNet.Numerics.SpecialFunctions.BesselJ(0, 2 * Math.PI * v * arcsec / unit),
            0,
            1,
            8);
        double half = 2 * MathNet.Numerics.RootFinding.Brent.FindRoot(r => At(r) - (0.5 * At(0)), 0.1, 4, 1e-8);
        Assert.Equal(half, Of(defocus: 0.5 * 550, seeing: 2), 0.005 * half);
        Assert.True(Of(trail: 3, seeing: 2) > 1.1 * Of(seeing: 2));
    }

    /// <summary>Stars made of diffraction and seeing leave nothing over; what a Gaussian blur adds is found again.</summary>
    [Fact]
    public void The_budget_finds_what_was_added()
    {
        const double Aperture = 100, Seen = 2.5, Extra = 1.8, Scale = 1.2;
        double Arcsec(double jitter) => FocusedWidth.Arcsec(new FocusedWidthRequest
        {
            ApertureMm = Aperture,
            WavelengthNm = 550,
            SeeingFwhmArcsec = Seen,
            JitterArcsec = jitter / 2.354820,
        });
        double um = Pitch / Scale;
        FieldSharpnessResult found = Measure(z => um * (Arcsec(0) + ((Arcsec(Extra) - Arcsec(0)) * Square(z))), _ => Complex.Zero, r => r with
        {
            PixelScaleArcsecPerPx = Scale,
            ScaleFromSky = true,
            ApertureMm = Aperture,
            SeeingArcsec = Seen,
        });
        SharpnessPart Part(string part, string place) => found.Budget.Single(p => p.Part == part && p.Place == place);
        Assert.Equal(1.028994 * 550e-6 / Aperture * Seeing.ArcsecPerRadian, Part("diffraction", "everywhere").OnSky.Value, 0.005);
        Assert.Equal(Extra, Part("left", "corners").OnSky.Value, 0.1 * Extra);
        Assert.Equal(Extra * um, Part("left", "corners").OnSensor.Value, 0.1 * Extra * um);
        Assert.True(Part("left", "center").OnSky.Value < 2 * Part("left", "center").OnSky.Uncertainty);

        // Taken the other way round, without a stated seeing, the corners' excess is the same.
        Assert.Equal(Extra, Part("field", "corners").OnSky.Value, 0.15 * Extra);
        Assert.False(Part("focus", "everywhere").Known);
        Assert.True(double.IsNaN(Part("tracking", "everywhere").OnSky.Value));
        Assert.DoesNotContain(found.Notes, n => n.Code == "field-sharpness.budget-mismatch");
        FieldSharpnessResult wrong = Measure(_ => um * Arcsec(0), _ => Complex.Zero, r => r with
        {
            PixelScaleArcsecPerPx = Scale,
            ApertureMm = Aperture,
            SeeingArcsec = 4,
        });
        Assert.Contains(wrong.Notes, n => n.Code == "field-sharpness.budget-mismatch");
        Assert.Empty(Measure(_ => 9, _ => Complex.Zero).Budget);
    }

    [Fact]
    public void Few_stars_are_refused_and_any_number_of_threads_finds_the_same()
    {
        FieldSharpnessRequest request = Request(z => 9 + z.Real, z => 0.1 * z * z, 60);
        FieldSharpnessResult one = FieldSharpnessMeasurement.Measure(request, new RunContext(1));
        FieldSharpnessResult two = FieldSharpnessMeasurement.Measure(request, new RunContext(2));
        Assert.Equal(one.FwhmMapUm, two.FwhmMapUm);
        Assert.Equal(one.Causes, two.Causes);
        Assert.Throws<CannotMeasureException>(() => Measure(_ => 9, _ => Complex.Zero, stars: 11));
        Assert.Throws<InputException>(() => FieldSharpnessMeasurement.Measure(request with { Snr = [] }, new RunContext()));
        FieldSharpnessRequest clipped = request with { Flags = [.. request.Flags.Select(_ => (double)StarMarks.Saturated)] };
        string said = Assert.Throws<CannotMeasureException>(() => FieldSharpnessMeasurement.Measure(clipped, new RunContext())).Message;
        Assert.Contains("unclipped", said, StringComparison.Ordinal);
    }

    private static double Square(Complex z) => (z.Real * z.Real) + (z.Imaginary * z.Imaginary);

    private static Complex Corner(int side)
    {
        double half = Math.Sqrt(((double)Width * Width) + ((double)Height * Height));
        return new Complex(Width / half, side * Height / half);
    }

    private static FieldSharpnessResult Measure(Func<Complex, double> fwhmUm, Func<Complex, Complex> shape,
        Func<FieldSharpnessRequest, FieldSharpnessRequest>? with = null, int stars = 150)
    {
        FieldSharpnessRequest request = Request(fwhmUm, shape, stars);
        return FieldSharpnessMeasurement.Measure(with is null ? request : with(request), new RunContext());
    }

    /// <summary>A star table with noise of 1 % in widths and 0.01 in lengthening.</summary>
    private static FieldSharpnessRequest Request(Func<Complex, double> fwhmUm, Func<Complex, Complex> shape, int stars)
    {
        var random = new Random(5);
        double Noise() => Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
        double half = 0.5 * Math.Sqrt(((double)Width * Width) + ((double)Height * Height));
        double[] x = new double[stars], y = new double[stars], hfr = new double[stars], fwhm = new double[stars];
        double[] radial = new double[stars], cross = new double[stars];
        for (int k = 0; k < stars; k++)
        {
            (x[k], y[k]) = ((Width - 1) * random.NextDouble(), (Height - 1) * random.NextDouble());
            var z = new Complex((x[k] - ((Width - 1) / 2.0)) / half, (y[k] - ((Height - 1) / 2.0)) / half);
            double width = fwhmUm(z) / Pitch;
            (fwhm[k], hfr[k]) = (width * (1 + (0.01 * Noise())), 0.55 * width * (1 + (0.01 * Noise())));
            Complex e = (shape(z) + new Complex(0.01 * Noise(), 0.01 * Noise())) * Complex.FromPolarCoordinates(1, -2 * z.Phase);
            (radial[k], cross[k]) = (e.Real, e.Imaginary);
        }

        double[] All(double value) => [.. Enumerable.Repeat(value, stars)];
        return new FieldSharpnessRequest
        {
            X = x,
            Y = y,
            Hfr = hfr,
            HfrUncertainty = [.. hfr.Select(h => 0.01 * h)],
            Fwhm = fwhm,
            FwhmUncertainty = [.. fwhm.Select(f => 0.01 * f)],
            RadialEllipticity = radial,
            CrossEllipticity = cross,
            EllipticityUncertainty = All(0.01),
            Sky = All(100),
            Snr = All(100),
            Flags = All(0),
            Width = Width,
            Height = Height,
            PitchUm = Pitch,
        };
    }
}
