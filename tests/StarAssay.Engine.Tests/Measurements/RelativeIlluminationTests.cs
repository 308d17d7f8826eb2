using StarAssay.Engine.Imaging;
using StarAssay.Engine.Measurements.RelativeIllumination;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Measurements;

/// <summary>Truth: flats made here from rays counted one by one through a round stop.</summary>
public class RelativeIlluminationTests
{
    private const int Width = 320, Height = 240;
    private const double Pitch = 50, Ratio = 6, Focal = 690;

    [Fact]
    public void A_stop_is_found_with_its_size_and_place()
    {
        RelativeIlluminationResult found = RelativeIlluminationMeasurement.Measure(Request(Flat(14, 40, 0.8, -0.5, 0.02)), new RunContext());
        Assert.Equal(14, found.ClearDiameter.Value, 0.14);
        Assert.Equal(40, found.StopDistance.Value, 2.0);
        Assert.Equal(0.8, found.CenterX.Value, 0.05);
        Assert.Equal(-0.5, found.CenterY.Value, 0.05);
        Assert.Equal(0.02, found.SlopeX.Value, 0.004);

        // A stop passes the whole cone out to (c - s / N) / 2 over 1 - s / f (geometry).
        Assert.Equal((14 - (40 / Ratio)) / (1 - (40 / Focal)), found.FullyLit.Value, 0.15);

        // The cosine's fourth power at the corner: 9.97 mm at 690 mm.
        double tangent = Math.Sqrt(Math.Pow((Width - 1) * Pitch / 2000, 2) + Math.Pow((Height - 1) * Pitch / 2000, 2)) / Focal;
        Assert.Equal(Math.Pow(Math.Cos(Math.Atan(tangent)), 4), found.NaturalCorner, 1e-12);
        Assert.Contains(found.Notes, n => n.Code == RelativeIlluminationNotes.Beside.Code);
        Assert.Equal(3, found.Quantities.Count);
    }

    [Fact]
    public void Without_a_stop_none_is_made_up()
    {
        RelativeIlluminationResult found = RelativeIlluminationMeasurement.Measure(Request(Flat(200, 40, 0, 0, 0.03)), new RunContext());
        Assert.True(double.IsNaN(found.ClearDiameter.Value));
        Assert.Equal(0.999, found.CornerIllumination.Value, 0.005);
        Assert.Equal(0.03, found.SlopeX.Value, 0.004);
        Assert.Contains(found.Notes, n => n.Code == RelativeIlluminationNotes.NoClipping.Code);
    }

    [Fact]
    public void A_slope_cancels_between_flats_with_the_camera_turned()
    {
        RelativeIlluminationRequest request = Request(Flat(14, 40, 0.4, 0, 0.05)) with
        {
            Frames = [Flat(14, 40, 0.4, 0, 0.05), Flat(14, 40, 0.4, 0, -0.05)],
            Turned = true
        };
        RelativeIlluminationResult found = RelativeIlluminationMeasurement.Measure(request, new RunContext());
        Assert.Equal(0, found.SlopeX.Value);
        Assert.Equal(0.4, found.CenterX.Value, 0.05);
        Assert.Equal("turned", Assert.Throws<InputException>(() =>
            RelativeIlluminationMeasurement.Measure(Request(Flat(14, 40, 0, 0, 0)) with { Turned = true }, new RunContext())).Argument);
    }

    [Fact]
    public void A_level_that_is_not_known_decides_nothing()
    {
        RelativeIlluminationResult found = RelativeIlluminationMeasurement.Measure(Request(Flat(14, 40, 0, 0, 0)) with { BiasLevelAdu = double.NaN },
            new RunContext());
        Assert.Contains(found.Notes, n => n.Level == NoteLevel.Doubt);
        Assert.All(found.Quantities, q => Assert.NotEmpty(q.Doubts));
    }

    [Fact]
    public void Clipped_empty_and_unlike_flats_are_refused()
    {
        Frame flat = Flat(14, 40, 0, 0, 0);
        CannotMeasureException clipped = Assert.Throws<CannotMeasureException>(() =>
            RelativeIlluminationMeasurement.Measure(Request(flat with { SaturationAdu = 15000 }), new RunContext()));
        Assert.Contains("clipped", clipped.Message, StringComparison.Ordinal);
        Assert.Throws<CannotMeasureException>(() =>
            RelativeIlluminationMeasurement.Measure(Request(Flat(14, 40, 0, 0, 0, level: 0)) with { BiasLevelAdu = 600 }, new RunContext()));
        Assert.Throws<InputException>(() => RelativeIlluminationMeasurement.Measure(Request(flat) with { Frames = [] }, new RunContext()));
    }

    [Fact]
    public void Threads_change_nothing()
    {
        RelativeIlluminationResult one = RelativeIlluminationMeasurement.Measure(Request(Flat(14, 40, 0.3, 0.2, 0)), new RunContext(1));
        RelativeIlluminationResult two = RelativeIlluminationMeasurement.Measure(Request(Flat(14, 40, 0.3, 0.2, 0)), new RunContext(2));
        Assert.Equal(one.ClearDiameter, two.ClearDiameter);
        Assert.Equal(one.Cells, two.Cells);
    }

    private static RelativeIlluminationRequest Request(Frame flat) =>
        new() { Frames = [flat], BiasLevelAdu = 500, FocalRatio = Ratio, FocalLengthMm = Focal, PitchUm = Pitch };

    private static Frame Flat(double clear, double distance, double centerX, double centerY, double slope, double level = 20000)
    {
        var random = new Random(5);
        double[] share = new double[200];
        double step = 0.12;
        for (int k = 0; k < share.Length; k++)
        {
            int passed = 0, all = 0;
            for (int j = -60; j <= 60; j++)
            {
                for (int i = -60; i <= 60; i++)
                {
                    if ((i * i) + (j * j) > 3600)
                    {
                        continue;
                    }

                    double cone = distance / (2 * Ratio), px = (cone * i / 60) + (k * step * (1 - (distance / Focal))), py = cone * j / 60;
                    all++;
                    passed += (px * px) + (py * py) <= clear * clear / 4 ? 1 : 0;
                }
            }

            share[k] = (double)passed / all * Math.Pow(Math.Cos(Math.Atan(k * step / Focal)), 4);
        }

        byte[] bytes = new byte[4 * Width * Height];
        for (int y = 0; y < Height; y++)
        {
            for (int x = 0; x < Width; x++)
            {
                double mx = ((x - ((Width - 1) / 2.0)) * Pitch / 1000) - centerX, my = ((y - ((Height - 1) / 2.0)) * Pitch / 1000) - centerY;
                double r = Math.Sqrt((mx * mx) + (my * my)) / step;
                int k = (int)r;
                double light = share[k] + ((r - k) * (share[k + 1] - share[k]));
                double noise = Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
                double value = level * light * (1 + (slope * ((x / (Width - 1.0)) - 0.5)));
                BitConverter.TryWriteBytes(bytes.AsSpan(4 * ((y * Width) + x)), (float)(500 + value + (Math.Sqrt(value + 25) * noise)));
            }
        }

        return new Frame { Pixels = new RawPixels(bytes, PixelFormat.Float32, false, Width, Height), Name = "flat" };
    }
}
