using StarAssay.Engine.Imaging;
using StarAssay.Engine.Measurements.Reflections;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Measurements;

/// <summary>Truth: the geometry of ellipses, of perspective and of a ray that a sphere sends back; circles drawn point by point.</summary>
public class ReflectionsTests
{
    private const int Width = 320, Height = 240;

    [Fact]
    public void An_outline_is_an_ellipse_and_is_fitted_to_its_points()
    {
        // Half axes 50 and 40 at 30 deg: every point of x = a cos, y = b sin lies on it.
        double ratio = 40.0 / 50, g = (1 - (ratio * ratio)) / (1 + (ratio * ratio)), turn = Math.PI / 6;
        var outline = new Outline(7, -3, 50 * Math.Sqrt(1 - g), g * Math.Cos(2 * turn), g * Math.Sin(2 * turn));
        Assert.Equal(50, outline.Long, 1e-9);
        Assert.Equal(40, outline.Short, 1e-9);
        double[] x = new double[60], y = new double[60];
        for (int i = 0; i < x.Length; i++)
        {
            (double s, double c) = Math.SinCos(2 * Math.PI * i / x.Length);
            x[i] = 7 + (50 * c * Math.Cos(turn)) - (40 * s * Math.Sin(turn));
            y[i] = -3 + (50 * c * Math.Sin(turn)) + (40 * s * Math.Cos(turn));
            Assert.Equal(0, outline.Of(x[i], y[i]).Distance, 1e-9);
        }

        // One point in twelve is wild.
        for (int i = 0; i < x.Length; i += 12)
        {
            x[i] += 4;
        }

        (Outline found, _, double[] weight, _) = new Outline(5, -1, 44, 0, 0).Fit(x, y, false);
        Assert.Equal(7, found.X, 1e-3);
        Assert.Equal(-3, found.Y, 1e-3);
        Assert.Equal(50, found.Long, 2e-3);
        Assert.Equal(turn, found.Angle, 1e-4);
        Assert.Equal(0, weight[0]);
    }

    [Fact]
    public void A_cone_of_rays_off_the_axis_gives_its_own_middle()
    {
        // Cone of half angle 8 deg whose axis stands 15 deg off: drawn by turning rays about it, f = 800 pixels.
        double axis = 15 * Math.PI / 180, half = 8 * Math.PI / 180, f = 800;
        var view = new PhotoView(1000, 800, 0.02, Math.Pow(0.5 * Math.Sqrt((1000 * 1000) + (800 * 800)) / f, 2));
        double[] x = new double[90], y = new double[90];
        for (int i = 0; i < x.Length; i++)
        {
            (double s, double c) = Math.SinCos(2 * Math.PI * i / x.Length);
            double px = Math.Tan(half) * c, py = Math.Tan(half) * s;
            double dx = (Math.Cos(axis) * px) + Math.Sin(axis), dz = Math.Cos(axis) - (Math.Sin(axis) * px);
            double u = f * dx / dz, v = f * py / dz, far = Math.Sqrt((u * u) + (v * v)) / view.Half, seen = 1 + (0.02 * far * far);
            (x[i], y[i]) = ((u * seen) + 499.5, (v * seen) + 399.5);
        }

        ((double mx, double my), Outline outline, _, _) = view.Circle(x, y);
        Assert.Equal(f * Math.Tan(axis), mx, 1e-6);
        Assert.Equal(0, my, 1e-6);
        Assert.Equal(f * Math.Tan(half), outline.R, 1e-6);
        Assert.Equal(0, outline.G, 1e-8);

        // Without perspective its middle is off by several pixels.
        Assert.True(Math.Abs((view with { Perspective = 0 }).Circle(x, y).Middle.X - mx) > 3);
        (double bx, double by) = view.Back((100, 50), view.Touching((100, 50), (-30, 80)));
        Assert.Equal(-30, bx, 1e-9);
        Assert.Equal(80, by, 1e-9);
    }

    // The place where a sphere sends a ray back to the hole is found here by bisection over reflected rays, not by the engine's formula.
    [Theory]
    [InlineData(1500, 740, 12)]
    [InlineData(-900, 700, -7)]
    [InlineData(1e7, 500, 5)]
    public void The_objectives_tilt_is_that_of_the_ray_that_comes_back(double radius, double distance, double tiltArcmin)
    {
        double tilt = tiltArcmin * Math.PI / 10800, back = Place(radius, distance, tilt), perMm = 1.1;
        ReflectionsResult found = Measure(Draw((160, 120, 90, 20_000), (160 + (back * perMm), 120, 22, -17_000)), r => r with
        {
            Objective = 1,
            Spot = 2,
            ObjectiveDiameterMm = 180 / perMm,
            ObjectiveDistanceMm = distance,
            SurfaceRadiusMm = radius,
            ViewpointUncertaintyMm = 0
        });
        Assert.Equal(tiltArcmin, found.ObjectiveTiltX.Value, 0.3);
        Assert.Equal(0, found.ObjectiveTiltY.Value, 0.3);
        Assert.Equal(Math.Abs(back) * perMm / 90, found.SpotOffset.Value, 1.5e-3);
        Assert.Equal(Math.Abs(back), found.Pairs[0].OnObjective.Value, 0.12);
        Assert.True(double.IsNaN(found.AxisTilt.Value));
    }

    [Fact]
    public void The_focusers_aim_is_the_angle_seen_from_the_hole()
    {
        // The focuser's end 3 pixels beside the objective; a pixel is 0.5 mm at 800 mm. A plane mirror without tilt sends the hole back to the middle.
        ReflectionsResult found = Measure(Draw((163, 120, 105, 6000), (160, 120, 80, 12_000), (160, 120, 20, -15_000)), r => r with
        {
            Objective = 2,
            Sight = 1,
            Spot = 3,
            ObjectiveDiameterMm = 80,
            ObjectiveDistanceMm = 800,
            SightDistanceMm = 100,
            SurfaceRadiusMm = 1e8
        });
        double expected = 3 * 0.5 / 800 * 180 * 60 / Math.PI;
        Assert.Equal(expected, found.FocuserAimX.Value, 0.15);
        Assert.Equal(expected, found.AxisTiltX.Value, 0.3);

        // Half a millimeter of the pupil at 100 mm is 15 arcmin less what it does at 800: it is in the bar.
        Assert.InRange(found.FocuserAimX.Uncertainty, 14.9, 15.3);
        Assert.Equal(["axis_tilt", "spot_offset"], found.Quantities.Select(q => q.Name).Order());
    }

    [Fact]
    public void What_is_no_pair_of_circles_is_said()
    {
        Assert.Equal("reflections.no-circle", Assert.Throws<CannotMeasureException>(() => Measure(Draw())).Code);
        ReflectionsResult one = Measure(Draw((150, 110, 80, 20_000)));
        Assert.Contains(one.Notes, n => n.Code == "reflections.one-circle");
        Assert.False(one.Decided);
        Assert.Empty(one.Quantities);
        ReflectionsResult apart = Measure(Draw((80, 120, 60, 20_000), (240, 120, 60, 20_000)));
        Assert.Contains(apart.Notes, n => n.Code == "reflections.apart");
        Assert.Equal("spot", Assert.Throws<InputException>(() => Measure(Draw((150, 110, 80, 20_000)), r => r with { Spot = 2 })).Argument);
        ReflectionsResult clipped = Measure(Draw((160, 120, 90, 20_000), (160, 120, 22, -17_000)) with { SaturationAdu = 20_900 });
        Assert.Contains(clipped.Notes, n => n.Code == "reflections.clipped-most");
    }

    [Fact]
    [Trait("Compares", "bits")]
    public void Threads_change_nothing()
    {
        Frame frame = Draw((160, 120, 95, 9000), (162, 118, 60, 8000), (161, 119, 20, -9000));
        ReflectionsResult one = ReflectionsMeasurement.Measure(new() { Frame = frame }, new RunContext(1));
        ReflectionsResult two = ReflectionsMeasurement.Measure(new() { Frame = frame }, new RunContext(3));
        Assert.Equal(3, one.Circles.Count);
        Assert.Equal(one.Circles, two.Circles);
        Assert.Equal(one.Pairs, two.Pairs);
    }

    private static ReflectionsResult Measure(Frame frame, Func<ReflectionsRequest, ReflectionsRequest>? with = null)
    {
        var request = new ReflectionsRequest { Frame = frame, Distortion = 0, DistortionUncertainty = 0, FieldOfViewDeg = 5 };
        return ReflectionsMeasurement.Measure(with is null ? request : with(request), new RunContext());
    }

    // In the plane of hole and tilt: the ray from the hole at (0, D) whose reflection off the sphere comes back to the hole.
    private static double Place(double radius, double distance, double tilt)
    {
        double middleX = radius * Math.Sin(tilt), middleZ = radius * Math.Cos(tilt);
        double Miss(double x)
        {
            double z = middleZ - (Math.Sign(radius) * Math.Sqrt((radius * radius) - ((x - middleX) * (x - middleX))));
            double nx = (middleX - x) / radius, nz = (middleZ - z) / radius, dx = x, dz = z - distance, along = 2 * ((dx * nx) + (dz * nz));
            (double rx, double rz) = (dx - (along * nx), dz - (along * nz));
            return x + (rx * (distance - z) / rz);
        }

        double low = -30, high = 30, sign = Math.Sign(Miss(low));
        for (int i = 0; i < 80; i++)
        {
            double middle = (low + high) / 2;
            (low, high) = Math.Sign(Miss(middle)) == sign ? (middle, high) : (low, middle);
        }

        return (low + high) / 2;
    }

    private static Frame Draw(params (double X, double Y, double R, double Step)[] circles)
    {
        var random = new Random(5);
        byte[] bytes = new byte[4 * Width * Height];
        for (int y = 0; y < Height; y++)
        {
            for (int x = 0; x < Width; x++)
            {
                double value = 1000;
                foreach ((double cx, double cy, double r, double step) in circles)
                {
                    double away = Math.Sqrt(((x - cx) * (x - cx)) + ((y - cy) * (y - cy))) - r;
                    value += step * 0.5 * MathNet.Numerics.SpecialFunctions.Erfc(away / 0.9 / Math.Sqrt(2));
                }

                double noise = Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
                BitConverter.TryWriteBytes(bytes.AsSpan(4 * ((y * Width) + x)), (float)(value + (120 * noise)));
            }
        }

        return new Frame { Pixels = new RawPixels(bytes, PixelFormat.Float32, false, Width, Height), Name = "photo" };
    }
}
