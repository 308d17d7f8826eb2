using StarAssay.Engine.Measurements.LateralColor;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Measurements;

/// <summary>Truth: stars put at places computed here.</summary>
public class LateralColorTests
{
    private const int Width = 2000, Height = 1400;
    private const double Pitch = 4;
    private static readonly double Half = Math.Sqrt(((double)Width * Width) + ((double)Height * Height)) / 2;

    [Fact]
    public void A_difference_of_scale_is_found()
    {
        // ISO 15795 in sense, closed form: 1e-4 of the height, 1220.66 pixels of 4 um at the corner.
        LateralColorResult found = LateralColorMeasurement.Measure(Field((u, v) => (1e-4 * u * Half, 1e-4 * v * Half)), new RunContext());
        Assert.Equal(1e-4 * Half * Pitch, found.LateralColor.Value, 0.05);
        Assert.Equal(100, found.Pairs[0].ScaleDifference.Value, 4.0);
        Assert.Equal(1e-4 * Half, found.Pairs[0].CornerInPixels.Value, 4 * found.Pairs[0].CornerInPixels.Uncertainty);
        Assert.InRange(found.Pairs[0].CornerInPixels.Uncertainty, 5e-4, 5e-3);

        // 206264.806 / f: 0.488 um are 0.2013 arcsec at 500 mm; the Airy disc's diameter is 2.44 x 0.53 x 6 = 7.759 um.
        Assert.Equal(found.LateralColor.Value / 500_000 * 206264.806, found.LateralColorAngle.Value, 1e-6);
        Assert.Equal(found.LateralColor.Value / 7.7592, found.AiryShare, 1e-4);
        Assert.Equal(2, found.Quantities.Count);
    }

    [Fact]
    public void Each_part_goes_to_its_own_number()
    {
        const double P = 0.2, Q = -0.1, Third = 0.6, Turn = 0.3;
        LateralColorResult found = LateralColorMeasurement.Measure(
            Field((u, v) =>
            {
                double r2 = (u * u) + (v * v);
                return (0.7 - (Turn * v) + (Third * r2 * u) + (P * (r2 + (2 * u * u))) + (2 * Q * u * v),
                    -0.4 + (Turn * u) + (Third * r2 * v) + (2 * P * u * v) + (Q * (r2 + (2 * v * v))));
            }), new RunContext());
        ColorPair pair = found.Pairs[0];
        Assert.Equal(0.7, pair.ShiftX.Value, 0.01);
        Assert.Equal(-0.4, pair.ShiftY.Value, 0.01);
        Assert.Equal(Third, pair.ThirdOrder.Value, 0.03);
        Assert.Equal(Third, pair.CornerInPixels.Value, 0.02);
        Assert.Equal(P, pair.DecenterX.Value, 0.01);
        Assert.Equal(Q, pair.DecenterY.Value, 0.01);
        Assert.Equal(Turn / Half * 180 * 60 / Math.PI, pair.Rotation.Value, 0.05);

        // Optics do not turn one color against another.
        Assert.Contains(found.Notes, n => n.Code == LateralColorNotes.Turned.Code);
        Assert.All(found.Quantities, q => Assert.NotEmpty(q.Doubts));
    }

    [Fact]
    public void Dispersion_of_the_air_is_taken_off()
    {
        // Filippenko 1982 at sea level and sec z = 1.5: 400 nm +0.877, 700 nm -0.734 arcsec against 500 nm.
        double expected = (0.877 + 0.734) / (Pitch / 1000 / 500 * 206264.806), turn = 30 * Math.PI / 180;
        LateralColorRequest request = Field((_, _) => (expected * Math.Cos(turn), expected * Math.Sin(turn))) with
        {
            Reference = 1,
            WavelengthsNm = [400, 700],
            AltitudeDeg = Math.Asin(1 / 1.5) * 180 / Math.PI,
            ZenithDirectionDeg = 30,
        };
        ColorPair pair = LateralColorMeasurement.Measure(request, new RunContext()).Pairs[0];
        Assert.Equal(expected, pair.ExpectedShift.Value, 1e-3);
        Assert.Equal(0, pair.TowardsZenith.Value, 0.01);
        Assert.Equal(0, pair.AcrossZenith.Value, 0.01);
        Assert.Contains(LateralColorMeasurement.Measure(request, new RunContext()).Notes, n => n.Code == LateralColorNotes.AirExplains.Code);

        // Towards another side the air does not explain it; without the direction amounts alone are compared; without altitude nothing.
        LateralColorResult other = LateralColorMeasurement.Measure(request with { ZenithDirectionDeg = 120 }, new RunContext());
        Assert.Contains(other.Notes, n => n.Code == LateralColorNotes.AirDoesNotExplain.Code);
        LateralColorResult amount = LateralColorMeasurement.Measure(request with { ZenithDirectionDeg = double.NaN }, new RunContext());
        Assert.Contains(amount.Notes, n => n.Code == LateralColorNotes.AirMixed.Code && n.Text.Contains("zenith_direction", StringComparison.Ordinal));
        LateralColorResult nothing = LateralColorMeasurement.Measure(request with { AltitudeDeg = double.NaN }, new RunContext());
        Assert.True(double.IsNaN(nothing.Pairs[0].ExpectedShift.Value));
        Assert.Contains(nothing.Notes, n => n.Code == LateralColorNotes.AirMixed.Code);
    }

    [Fact]
    public void Distortion_of_frames_that_moved_does_not_feign_lateral_color()
    {
        // 1 % pincushion, the second frame moved by 40 and -30 pixels and turned by half a degree: 12 pixels of distortion at the corner.
        const double K = 0.01, Dx = 40 / 1220.66, Dy = -30 / 1220.66, Scale = 1e-4;
        double c = Math.Cos(Math.PI / 360), s = Math.Sin(Math.PI / 360);
        (double X, double Y) Bent(double u, double v) => (u * (1 + (K * ((u * u) + (v * v)))), v * (1 + (K * ((u * u) + (v * v)))));
        LateralColorRequest request = Field(
            (u, v) =>
            {
                (double x, double y) = Bent((c * u) - (s * v) + Dx, (s * u) + (c * v) + Dy);
                return (((x * (1 + Scale)) - u) * Half, ((y * (1 + Scale)) - v) * Half);
            },
            (u, v) => ((Bent(u, v).X - u) * Half, (Bent(u, v).Y - v) * Half)) with
        { OneExposure = false };
        ColorPair pair = LateralColorMeasurement.Measure(request, new RunContext()).Pairs[0];
        Assert.Equal(Scale * (1 + K) * Half, pair.CornerInPixels.Value, 0.02);
        Assert.Equal(30, pair.Rotation.Value, 0.2);
        Assert.Equal(40, pair.ShiftX.Value, 1);

        // The same with another focus is a doubt: moving the sensor changes the scale.
        LateralColorResult refocused = LateralColorMeasurement.Measure(request with { Focus = [100, 140] }, new RunContext());
        Assert.Contains(refocused.Notes, n => n.Code == LateralColorNotes.Refocused.Code);
    }

    [Fact]
    public void Wrong_stars_are_left_out_and_few_decide_nothing()
    {
        LateralColorRequest request = Field((u, v) => (0.5 * u, 0.5 * v));
        for (int i = 0; i < 20; i++)
        {
            request.X[7 * i] += i % 2 == 0 ? 0.4 : -0.45;
        }

        LateralColorResult found = LateralColorMeasurement.Measure(request, new RunContext());
        Assert.Equal(0.5, found.Pairs[0].CornerInPixels.Value, 0.02);
        Assert.True(found.Used.Count(u => u == 0) >= 15);
        LateralColorResult few = LateralColorMeasurement.Measure(Field((u, v) => (0.5 * u, 0.5 * v), count: 9), new RunContext());
        Assert.Contains(few.Notes, n => n.Code == LateralColorNotes.FewStars.Code);
        Assert.True(double.IsNaN(few.Pairs[0].ThirdOrder.Value));
        Assert.Throws<CannotMeasureException>(() => LateralColorMeasurement.Measure(Field((_, _) => (0, 0), count: 4), new RunContext()));
    }

    [Fact]
    public void Contradictions_are_refused()
    {
        LateralColorRequest request = Field((_, _) => (0, 0));
        Assert.Throws<InputException>(() => LateralColorMeasurement.Measure(request with { Colors = ["blue", "blue"] }, new RunContext()));
        Assert.Throws<InputException>(() => LateralColorMeasurement.Measure(request with { Reference = 2 }, new RunContext()));
        Assert.Throws<InputException>(() => LateralColorMeasurement.Measure(request with { WavelengthsNm = [400] }, new RunContext()));
        Assert.Throws<InputException>(() => LateralColorMeasurement.Measure(request with { Flags = [0] }, new RunContext()));
    }

    private static LateralColorRequest Field(
        Func<double, double, (double X, double Y)> offset, Func<double, double, (double X, double Y)>? own = null, int count = 140)
    {
        var random = new Random(3);
        double Noise() => 0.005 * Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
        double[] x = new double[2 * count], y = new double[2 * count], flux = new double[2 * count];
        for (int i = 0; i < count; i++)
        {
            double px = 60 + (random.NextDouble() * (Width - 120)), py = 60 + (random.NextDouble() * (Height - 120));
            double u = (px - ((Width - 1) / 2.0)) / Half, v = (py - ((Height - 1) / 2.0)) / Half;
            (double dx, double dy) = offset(u, v);
            (double ox, double oy) = own?.Invoke(u, v) ?? (0, 0);
            (x[i], y[i]) = (px + dx + Noise(), py + dy + Noise());
            (x[count + i], y[count + i]) = (px + ox + Noise(), py + oy + Noise());
            flux[i] = flux[count + i] = 1000 + (1e5 * random.NextDouble());
        }

        double[] Same(double value) => [.. Enumerable.Repeat(value, 2 * count)];
        return new LateralColorRequest
        {
            X = x,
            Y = y,
            XUncertainty = Same(0.005),
            YUncertainty = Same(0.005),
            Flux = flux,
            Hfr = Same(2),
            Flags = Same(0),
            Stars = [count, count],
            Colors = ["blue", "green"],
            Reference = 1,
            WavelengthsNm = [460, 530],
            OneExposure = true,
            Width = Width,
            Height = Height,
            PitchUm = Pitch,
            FocalLengthMm = 500,
            FocalRatio = 6,
        };
    }
}
