using StarAssay.Engine.Imaging;
using StarAssay.Engine.Measurements.EdgeContrast;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Simulation;

namespace StarAssay.Engine.Tests.Measurements;

/// <summary>Truth: closed forms of Gaussian edges and of perfect apertures, circles drawn point by point.</summary>
public class EdgeContrastTests
{
    private const int Width = 180, Height = 160;

    [Fact]
    public void A_circle_measures_distance_and_length_through_the_straight_line()
    {
        var arc = new CircleArc(10, 5, 0.3, 0.01);
        (double cx, double cy) = arc.Center;
        Assert.Equal(100, Math.Sqrt(Math.Pow(10 - cx, 2) + Math.Pow(5 - cy, 2)), 1e-9);
        Assert.Equal(Math.Sqrt(Math.Pow(40 - cx, 2) + Math.Pow(-7 - cy, 2)) - 100, arc.Distance(40, -7), 1e-9);
        foreach (double curvature in new[] { 0.01, -0.02, 1e-9, 0 })
        {
            CircleArc one = arc with { Curvature = curvature };
            (double x, double y) = one.At(17, 2.5);
            Assert.Equal(2.5, one.Distance(x, y), 1e-6);
            Assert.Equal(17, one.Along(x, y), 1e-6);
        }
    }

    [Fact]
    public void A_circle_is_found_among_other_points_and_fitted()
    {
        var random = new Random(3);
        double[] turn = [.. Enumerable.Range(0, 400).Select(i => i * 0.004)];
        double[] x = [.. turn.Select(t => 300 + (150 * Math.Cos(t)) + (0.2 * (random.NextDouble() - 0.5))), .. turn.Select(_ => 400 * random.NextDouble())];
        double[] y = [.. turn.Select(t => 200 + (150 * Math.Sin(t)) + (0.2 * (random.NextDouble() - 0.5))), .. turn.Select(_ => 400 * random.NextDouble())];
        double[] normal = [.. turn, .. turn.Select(_ => 6 * random.NextDouble())];
        CircleArc found = Assert.NotNull(CircleArc.Search(x, y, normal, 1, 20));
        (CircleArc arc, _, _) = found.Fit(x[..400], y[..400]);
        Assert.Equal(150, arc.Radius, 0.3);
        Assert.Equal(300, arc.Center.X, 0.3);
        Assert.Equal(200, arc.Center.Y, 0.3);
    }

    // 10 to 90 % of a Gaussian edge is 2.56310 sigma, its MTF falls to a half at 0.187391 / sigma (closed forms).
    [Theory]
    [InlineData(1.0)]
    [InlineData(2.2)]
    public void A_Gaussian_edge_has_its_width_and_transfer(double sigma)
    {
        EdgeContrastResult found = EdgeContrastMeasurement.Measure(Request(Gaussian(sigma, 6)), new RunContext());
        Assert.Equal(2.56310 * sigma * 4, found.Width.Value, 0.06 * sigma);
        Assert.Equal(0.187391 / sigma / 0.004, found.RecordedMtf50.Value, 0.4);
        Assert.Equal(6, found.NormalDeg, 0.02);
        for (int k = 0; k <= 40; k++)
        {
            Assert.Equal(Math.Exp(-2 * Math.Pow(Math.PI * sigma * found.Frequency[k], 2)), found.Mtf[k], 0.006);
        }

        Assert.Equal(2, found.Quantities.Count(q => q.Name is "edge_width" or "mtf50"));
    }

    // The closed form of a clear aperture's edge spread is the twin of the drawing's table; the pixel is an eighth of lambda N.
    [Fact]
    public void A_drawn_edge_is_that_of_the_aperture()
    {
        var request = new EdgeRequest
        {
            Detector = new DetectorResponse { Width = 60, Height = 4, PitchUm = 2.75 },
            ApertureMm = 60,
            FocalLengthMm = 2400,
            X = 20,
            BrightElectrons = 1
        };
        float[] image = new float[240];
        EdgeTruth truth = EdgeDrawing.DrawExpected(request, image, new RunContext());
        double unit = 22 / 2.75;
        Assert.Equal(1.33287 * unit, truth.WidthPx, 0.05);
        foreach (int x in new[] { 4, 14, 20, 23, 31, 55 })
        {
            double expected = (1.0 / 3) * (Edge(x - 0.4) + Edge(x) + Edge(x + 0.4));
            Assert.Equal(expected, image[x], 2e-3);
        }

        Assert.Equal(Airy.Mtf(0.3), truth.OpticsMtf[3], 1e-6);
        double Edge(double x) => 1 - Airy.EdgeSpread((x - 20) / unit);
    }

    [Fact]
    public void The_Moon_is_even_when_full_and_brightest_at_the_limb_otherwise()
    {
        Assert.Equal(1, LimbProfile.Moon(100, 900, 0));

        // mu0 / (mu0 + mu) at a depth where mu = 0.6: the sine is 0.8, mu0 = 0.8 at a quarter.
        Assert.Equal(0.8 / 1.4, LimbProfile.Moon(180, 900, 90), 1e-12);
        Assert.Equal(0, LimbProfile.Moon(900, 900, 90), 1e-12);
    }

    [Fact]
    public void Clipped_straight_and_missing_edges_are_refused()
    {
        Assert.Contains("over-exposed", Assert.Throws<CannotMeasureException>(() =>
            EdgeContrastMeasurement.Measure(Request(Gaussian(1.5, 6) with { SaturationAdu = 9000 }), new RunContext())).Message, StringComparison.Ordinal);
        Assert.Equal("edge-contrast.parallel", Assert.Throws<CannotMeasureException>(() =>
            EdgeContrastMeasurement.Measure(Request(Gaussian(1.5, 0)), new RunContext())).Code);
        Assert.Equal("edge-contrast.no-edge", Assert.Throws<CannotMeasureException>(() =>
            EdgeContrastMeasurement.Measure(Request(Gaussian(1.5, 6, step: 0)), new RunContext())).Code);
        Assert.Equal("phase_angle", Assert.Throws<InputException>(() =>
            EdgeContrastMeasurement.Measure(Request(Gaussian(1.5, 6)) with { PhaseAngleDeg = 30 }, new RunContext())).Argument);
    }

    [Fact]
    [Trait("Compares", "bits")]
    public void Threads_change_nothing()
    {
        EdgeContrastResult one = EdgeContrastMeasurement.Measure(Request(Gaussian(1.5, 6)), new RunContext(1));
        EdgeContrastResult two = EdgeContrastMeasurement.Measure(Request(Gaussian(1.5, 6)), new RunContext(2));
        Assert.Equal(one.Mtf, two.Mtf);
        Assert.Equal(one.Width, two.Width);
        Assert.Equal(one.Glare, two.Glare);
    }

    private static EdgeContrastRequest Request(Frame frame) => new() { Frame = frame, BiasLevelAdu = 500, FocalLengthMm = 700, PitchUm = 4 };

    private static Frame Gaussian(double sigma, double normalDeg, double step = 10_000)
    {
        var random = new Random(5);
        byte[] bytes = new byte[4 * Width * Height];
        (double s, double c) = Math.SinCos(normalDeg * Math.PI / 180);
        for (int y = 0; y < Height; y++)
        {
            for (int x = 0; x < Width; x++)
            {
                double away = ((x - 90.3) * c) + ((y - 80) * s);
                double value = 500 + (step * 0.5 * MathNet.Numerics.SpecialFunctions.Erfc(away / sigma / Math.Sqrt(2)));
                double noise = Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
                BitConverter.TryWriteBytes(bytes.AsSpan(4 * ((y * Width) + x)), (float)(value + (10 * noise)));
            }
        }

        return new Frame { Pixels = new RawPixels(bytes, PixelFormat.Float32, false, Width, Height), Name = "edge" };
    }
}
