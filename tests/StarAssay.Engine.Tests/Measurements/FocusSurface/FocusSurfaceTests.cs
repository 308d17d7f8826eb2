using System.Numerics;
using StarAssay.Engine.Measurements.FocusSurface;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Measurements.FocusSurface;

/// <summary>Truth: made-up lists of stars, each the disc of a defocused cone, |d| / (2 N) in radius, blurred by a Gaussian.</summary>
public class FocusSurfaceTests
{
    private const int Width = 3000, Height = 2000;
    private const double Pitch = 5, Ratio = 6;

    // um over the sensor from the middle to u = 1 (half the diagonal).
    private static readonly double[] Truth = [15, 60, -35, -40];

    private static readonly double[] Positions = [-240, -180, -120, -60, 0, 60, 120, 180, 240];

    [Fact]
    public void A_tilted_bowl_is_found()
    {
        FocusSurfaceResult found = FocusSurfaceMeasurement.Measure(Run(1, Positions), new RunContext());
        double half = Half();
        double width = Truth[1] * Width / half, height = Truth[2] * Height / half;
        Near(width, found.TiltAcrossWidth);
        Near(height, found.TiltAcrossHeight);
        Near(Truth[3], found.CurvatureSag);
        Assert.True(Math.Abs(found.BestFocus.Value - Truth[0]) < Math.Max(2, 3 * found.BestFocus.Uncertainty), $"{found.BestFocus}");
        Assert.Equal(Math.Atan2(Truth[2], Truth[1]) * 180 / Math.PI, found.TiltDirectionDeg, 2.0);

        // r^2 / (2 sag), and atan of the slope.
        double mm = half * Pitch / 1000;
        Assert.Equal(mm * mm * 1000 / (2 * found.CurvatureSag.Value), found.CurvatureRadius.Value, 1e-6);
        double slope = Math.Sqrt((Truth[1] * Truth[1]) + (Truth[2] * Truth[2])) / 1000 / mm;
        Assert.Equal(Math.Atan(slope) * 180 / Math.PI * 60, found.TiltAngle.Value, 0.03 * found.TiltAngle.Value);

        // 2 wavelength N^2 = 39.6 um at 550 nm and N = 6.
        Assert.Equal(39.6, found.DepthOfFocusUm, 1e-9);
        Assert.DoesNotContain(found.Notes, n => n.Level != NoteLevel.Info);
        Assert.InRange(found.BlurGrowth, 0.85, 1.2);
    }

    [Theory]
    [InlineData(60, 0, 0)]
    [InlineData(-45, 30, 25)]
    public void What_parts_tangential_from_sagittal_focus_is_found(double corner, double middle, double along)
    {
        FocusSurfaceResult found = FocusSurfaceMeasurement.Measure(Run(9, Positions, corner: corner, middle: middle, alongDeg: along), new RunContext());
        Assert.True(Math.Abs(found.AstigmaticSplit.Value - corner) < 2 * found.AstigmaticSplit.Uncertainty, $"{found.AstigmaticSplit} for {corner}");
        Assert.True(found.AstigmaticSplit.Uncertainty < 10);
        Assert.True(Math.Abs(found.MiddleSplit.Value - middle) < Math.Max(2, 2 * found.MiddleSplit.Uncertainty), $"{found.MiddleSplit} for {middle}");
        if (middle > 0)
        {
            Assert.Equal(along, found.MiddleSplitDirectionDeg, 3.0);
        }

        Near(Truth[3], found.CurvatureSag);
        Assert.Equal(found.AstigmaticSplit, found.Quantities.Single(q => q.Name == "astigmatic_split").Value);
    }

    [Fact]
    public void Coma_with_astigmatism_widens_the_bars_and_is_said()
    {
        FocusSurfaceResult clean = FocusSurfaceMeasurement.Measure(Run(9, Positions, corner: 60), new RunContext());
        FocusSurfaceResult with = FocusSurfaceMeasurement.Measure(Run(9, Positions, corner: 60, staying: 0.3), new RunContext());
        Assert.DoesNotContain(clean.Notes, n => n.Code == FocusSurfaceNotes.Aberrations.Code);
        Assert.Contains(with.Notes, n => n.Code == FocusSurfaceNotes.Aberrations.Code);
        Assert.True(with.AberrationShiftUm > 5 * clean.AberrationShiftUm);
        Assert.True(with.BestFocus.Uncertainty > with.AberrationShiftUm);
    }

    [Theory]
    [InlineData(60)]
    [InlineData(0)]
    public void Coma_that_grows_from_the_middle_widens_the_bar_of_the_bowl_and_not_those_of_the_tilt(double corner)
    {
        // Its trace grows with the squared height. With astigmatism, and through spherical aberration without it, the middle is moved otherwise than the
        // corners, and one side as the other.
        FocusSurfaceResult clean = FocusSurfaceMeasurement.Measure(Run(9, Positions, corner: corner), new RunContext());
        FocusSurfaceResult with = FocusSurfaceMeasurement.Measure(Run(9, Positions, corner: corner, growing: 1), new RunContext());
        Assert.InRange(with.CurvatureSag.Uncertainty / clean.CurvatureSag.Uncertainty, 1.5, 20);
        Assert.InRange(with.TiltAcrossWidth.Uncertainty / clean.TiltAcrossWidth.Uncertainty, 0.8, 1.25);
        Assert.InRange(with.TiltAcrossHeight.Uncertainty / clean.TiltAcrossHeight.Uncertainty, 0.8, 1.25);
    }

    [Fact]
    public void Shares_of_the_sensor_are_those_of_the_surface()
    {
        FocusSurfaceResult found = FocusSurfaceMeasurement.Measure(Run(2, Positions), new RunContext());
        double half = Half(), least = double.PositiveInfinity, most = double.NegativeInfinity;
        int inside = 0, all = 0;
        for (int j = 0; j <= 60; j++)
        {
            for (int i = 0; i <= 60; i++)
            {
                double u = ((i / 60.0) - 0.5) * Width / half, v = ((j / 60.0) - 0.5) * Height / half;
                double z = found.Coefficients[0] + (found.Coefficients[1] * u) + (found.Coefficients[2] * v) + (found.Coefficients[3] * ((u * u) + (v * v)));
                (least, most) = (Math.Min(least, z), Math.Max(most, z));
                inside += Math.Abs(z - found.BestPositionUm) <= found.DepthOfFocusUm ? 1 : 0;
                all++;
            }
        }

        Assert.Equal(most - least, found.FocusSpread.Value, 0.02 * (most - least));
        Assert.Equal((double)inside / all, found.InFocusShare, 0.03);
        Assert.True(found.InFocusShareLevel > found.InFocusShare);
    }

    [Fact]
    public void Bars_hold_what_frames_differ_by()
    {
        // Twenty runs whose seeing changes: the scatter of the tilts is that of the bars.
        double sum = 0;
        for (int seed = 10; seed < 30; seed++)
        {
            FocusSurfaceResult found = FocusSurfaceMeasurement.Measure(Run(seed, Positions), new RunContext());
            Quantity sag = found.Quantities.Single(q => q.Name == "curvature_sag");
            sum += Math.Pow((sag.Value.Value - Truth[3]) / sag.RandomPart, 2);
        }

        // Bars from nine frames: pulls follow Student's t with 8 degrees of freedom, whose square has the mean 8 / 6 and the standard
        // deviation 2.5; the mean of twenty lies below 1.33 + 2.33 x 0.56 with 99 %.
        Assert.InRange(sum / 20, 0.2, 2.64);
    }

    [Fact]
    public void Backlash_is_told_when_the_run_goes_both_ways()
    {
        double[] there = [-240, -160, -80, 0, 80, 160, 240], both = [.. there, .. there.Reverse()];
        FocusSurfaceResult found = FocusSurfaceMeasurement.Measure(Run(3, both, backlash: 30), new RunContext());
        Near(30, found.Backlash);
        Assert.Contains(found.Notes, n => n.Code == FocusSurfaceNotes.Backlash.Code);
        Assert.True(double.IsNaN(FocusSurfaceMeasurement.Measure(Run(3, there), new RunContext()).Backlash.Value));
    }

    [Theory]
    [InlineData(0.5, 2.0)]
    [InlineData(2.0, 0.5)]
    public void Positions_in_another_unit_are_a_doubt_with_the_factor(double stated, double factor)
    {
        FocusSurfaceRequest request = Run(4, Positions);
        request = request with { PositionsUm = [.. request.PositionsUm.Select(p => stated * p)] };
        FocusSurfaceResult found = FocusSurfaceMeasurement.Measure(request, new RunContext());
        Assert.Equal(factor, found.BlurGrowth, 0.2 * factor);
        Assert.Contains(found.Notes, n => n.Code == FocusSurfaceNotes.BlurGrowth.Code && n.Level == NoteLevel.Doubt);
        Assert.All(found.Quantities, q => Assert.NotEmpty(q.Doubts));
    }

    [Fact]
    public void A_run_on_one_side_decides_nothing()
    {
        FocusSurfaceResult found = FocusSurfaceMeasurement.Measure(Run(5, [60, 100, 140, 180, 220, 260]), new RunContext());
        Assert.Contains(found.Notes, n => n.Code == FocusSurfaceNotes.OneSided.Code);
        Assert.All(found.Quantities, q => Assert.NotEmpty(q.Doubts));
    }

    [Fact]
    public void A_frame_of_another_field_is_left_out_and_said()
    {
        FocusSurfaceRequest run = Run(6, Positions), other = Run(1006, Positions);
        int from = run.Stars.Take(2).Sum(), count = run.Stars[2];
        double[] Mixed(double[] own, double[] foreign) => [.. own.Select((v, i) => i >= from && i < from + count ? foreign[i] : v)];
        FocusSurfaceResult found = FocusSurfaceMeasurement.Measure(
            run with { X = Mixed(run.X, other.X), Y = Mixed(run.Y, other.Y), Flux = Mixed(run.Flux, other.Flux) }, new RunContext());
        Assert.Equal(0, found.FrameStars[2]);
        Assert.Contains(found.Notes, n => n.Code == FocusSurfaceNotes.FrameLeftOut.Code);
        Near(Truth[3], found.CurvatureSag);
    }

    [Fact]
    public void Threads_change_nothing()
    {
        FocusSurfaceResult one = FocusSurfaceMeasurement.Measure(Run(7, Positions), new RunContext(1));
        FocusSurfaceResult two = FocusSurfaceMeasurement.Measure(Run(7, Positions), new RunContext(2));
        Assert.Equal(one.Coefficients, two.Coefficients);
        Assert.Equal(one.SensorTilt, two.SensorTilt);
    }

    [Fact]
    public void What_cannot_be_is_refused()
    {
        FocusSurfaceRequest run = Run(8, Positions);
        Assert.Equal("positions", Assert.Throws<InputException>(() => FocusSurfaceMeasurement.Measure(run with { PositionsUm = [0, 1] }, new RunContext())).Argument);
        Assert.Throws<InputException>(() => FocusSurfaceMeasurement.Measure(run with { PositionsUm = [.. run.PositionsUm.Select(_ => 0.0)] }, new RunContext()));
        Assert.Throws<InputException>(() => FocusSurfaceMeasurement.Measure(run with { X = [1] }, new RunContext()));
        Assert.Throws<InputException>(() => FocusSurfaceMeasurement.Measure(run with { FocalRatio = 0 }, new RunContext()));
        Assert.Throws<CannotMeasureException>(() => FocusSurfaceMeasurement.Measure(Run(8, [-50, 0, 50]), new RunContext()));
        Assert.Throws<CannotMeasureException>(() => FocusSurfaceMeasurement.Measure(Run(8, Positions, stars: 8), new RunContext()));
    }

    private static double Half() => 0.5 * Math.Sqrt((Width * (double)Width) + (Height * (double)Height));

    private static void Near(double truth, Measured found)
    {
        Assert.True(found.Uncertainty < 6, $"{found}");
        Assert.True(Math.Abs(found.Value - truth) < Math.Max(2, 3 * found.Uncertainty), $"{found} for {truth}");
    }

    // corner: tangential less sagittal focus there; middle: the same in the middle, lines along that direction outside of focus;
    // staying: ellipticity along x that does not change through focus; growing: squared size times
    // ellipticity that stays, at the corner, with the squared height and along it, in squared depths of focus.
    private static FocusSurfaceRequest Run(int seed, double[] positions, int stars = 90, double backlash = 0, double corner = 0, double middle = 0,
        double alongDeg = 0, double staying = 0, double growing = 0)
    {
        var random = new Random(seed);
        double Normal() => Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
        double half = Half();
        (double X, double Y, double Flux)[] field = [.. Enumerable.Range(0, stars).Select(_ =>
            (random.NextDouble() * Width, random.NextDouble() * Height, Math.Exp(3 * random.NextDouble())))];
        var (x, y, flux, hfr, bar) = (new List<double>(), new List<double>(), new List<double>(), new List<double>(), new List<double>());
        var (long1, angle) = (new List<double>(), new List<double>());
        for (int f = 0; f < positions.Length; f++)
        {
            double seeing = 7 * Math.Exp(0.05 * Normal()), shiftX = 5 * Normal(), shiftY = 5 * Normal();
            bool inward = f > 0 ? positions[f] < positions[f - 1] : positions[1] < positions[0];
            foreach ((double sx, double sy, double light) in field)
            {
                double px = sx + shiftX, py = sy + shiftY, u = (px - ((Width - 1) / 2.0)) / half, v = (py - ((Height - 1) / 2.0)) / half;
                double focus = Truth[0] + (Truth[1] * u) + (Truth[2] * v) + (Truth[3] * ((u * u) + (v * v)));
                double defocus = positions[f] + (inward ? backlash : 0) - focus, disc = Math.Abs(defocus) / (2 * Ratio);

                // What astigmatism and coma add to the squared size in focus, over their traces in the shapes (wave optics, tests/python/test_focus_surface.py).
                double square = (u * u) + (v * v), added = ((0.18 * corner * corner * square * square) + (1.8 * growing * 39.6 * 39.6 * square)) / (8 * Ratio * Ratio);
                double size = Math.Sqrt(Math.Pow(BlurredDisc.HalfFluxRadius(disc, seeing), 2) + added) / Pitch;
                x.Add(px + (0.05 * Normal()));
                y.Add(py + (0.05 * Normal()));
                flux.Add(light);
                hfr.Add(size * (1 + (0.01 * Normal())));
                bar.Add(0.01 * size);

                // Half axes grow with the distance from each focus; blur adds to their squares as its half-flux radius, sigma sqrt(2 ln 2), says, which
                // is what weighted moments show of drawn stars (docs/accuracy.md): here only algebra, signs and directions are checked.
                Complex split = (-corner * new Complex(u, v) * new Complex(u, v)) + Complex.FromPolarCoordinates(middle, alongDeg * Math.PI / 90);
                double s = split.Magnitude, blur = 8 * Ratio * Ratio * 2 * Math.Log(2) * seeing * seeing;
                double a2 = Math.Pow(defocus + (s / 2), 2) + blur, b2 = Math.Pow(defocus - (s / 2), 2) + blur;
                Complex shape = Complex.FromPolarCoordinates((a2 - b2) / (a2 + b2), split.Phase) + staying
                    + (growing * 39.6 * 39.6 * new Complex(u, v) * new Complex(u, v) / ((a2 + b2) / 2));
                double e = shape.Magnitude;
                long1.Add(1 - Math.Sqrt((1 - e) / (1 + e)));
                angle.Add(shape.Phase * 90 / Math.PI);
            }
        }

        return new FocusSurfaceRequest
        {
            X = [.. x],
            Y = [.. y],
            Flux = [.. flux],
            Hfr = [.. hfr],
            HfrUncertainty = [.. bar],
            Ellipticity = [.. long1],
            EllipticityUncertainty = [.. x.Select(_ => 0.01)],
            PositionAngleDeg = [.. angle],
            Flags = new double[x.Count],
            Stars = [.. positions.Select(_ => stars)],
            PositionsUm = positions,
            Width = Width,
            Height = Height,
            PitchUm = Pitch,
            FocalRatio = Ratio,
        };
    }
}
