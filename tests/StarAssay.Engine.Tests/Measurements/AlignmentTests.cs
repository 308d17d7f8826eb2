using StarAssay.Engine.Imaging;
using StarAssay.Engine.Measurements.Alignment;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Simulation;

namespace StarAssay.Engine.Tests.Measurements;

/// <summary>Truth: the closed form of coma in a defocused disc, and drawn stars.</summary>
public class AlignmentTests
{
    private const double Ratio = 5, Hole = 0.3;

    [Fact]
    public void Rays_of_a_circle_move_its_outline_by_six_N_W131()
    {
        // Rays land at -2 N grad W, W = W020 rho^2 + W131 rho^3 cos t (Welford): the mean of a circle's rays moves by 4 N W131 rho^2, its outline by half as
        // much again. Outline: least squares of a circle, first order in the shift.
        const double W020 = 10, W131 = 0.01, Rho = 0.8;
        const int Count = 720;
        double[] x = new double[Count], square = new double[Count];
        for (int k = 0; k < Count; k++)
        {
            (double s, double c) = Math.SinCos(2 * Math.PI * k / Count);
            x[k] = -2 * Ratio * ((2 * W020 * Rho * c) + (W131 * Rho * Rho * (1 + (2 * c * c))));
            double y = -2 * Ratio * ((2 * W020 * Rho * s) + (W131 * Rho * Rho * 2 * c * s));
            square[k] = (x[k] * x[k]) + (y * y);
        }

        // Algebraic least squares of a circle with its middle on the x axis: x^2 + y^2 = 2 a x + const.
        double mean = x.Average(), level = square.Average();
        double outline = x.Zip(square, (a, q) => (a - mean) * (q - level)).Sum() / (2 * x.Sum(a => (a - mean) * (a - mean)));
        Assert.Equal(-4 * Ratio * W131 * Rho * Rho, mean, 1e-12);
        Assert.Equal(-6 * Ratio * W131 * Rho * Rho, outline, 0.002 * 6 * Ratio * W131 * Rho * Rho);
    }

    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public void A_drawn_star_tells_coma_from_an_obstruction_out_of_the_middle(bool both)
    {
        AlignmentResult found = Measure(both ? [-1, 1] : [1], 25, -12, 0.02, 0.01);
        Assert.InRange(Math.Abs(found.ComaX.Value - 25), 0, 4 * found.ComaX.Uncertainty);
        Assert.InRange(Math.Abs(found.ComaY.Value + 12), 0, 4 * found.ComaY.Uncertainty);
        Assert.InRange(found.ComaX.Uncertainty, 0.05, 1.5);

        // Outside of focus the pupil stands upside down.
        double way = both ? 1 : -1;
        Assert.Equal(way * 0.02, found.OffsetX.Value, 0.006);
        Assert.Equal(way * 0.01, found.OffsetY.Value, 0.006);
        Assert.True(found.ComaTold && found.Decided);

        // 6 N W131 (1 - e^2), W131 = 3 sqrt 8 of the coefficient; the cone ends nearer inside focus, farther outside.
        AlignmentImage image = found.Images[0];
        double stretch = image.BlurRadiusPx * 4 / (4e-3 * Ratio * Math.Abs(image.DefocusWaves) * 540);
        double seidel = 3 * Math.Sqrt(8) * Math.Sqrt((25 * 25) + (12 * 12)), e = found.Obstruction.Value;
        Assert.Equal(Hole, e, 0.006);
        double expected = 6e-3 * Ratio * stretch * seidel * (1 - (e * e)) / (image.BlurRadiusPx * 4);
        Assert.Equal(expected, found.ComaDecentre.Value, 4 * found.ComaDecentre.Uncertainty);
        Assert.Contains(found.Rings, r => r.Kind == "shadow");
        Assert.Contains(found.Rings, r => r.Kind == "outer edge");
    }

    [Fact]
    public void Two_images_and_none_are_refused_alike()
    {
        Assert.Equal("frames", Assert.Throws<InputException>(() => AlignmentMeasurement.Measure(Request([]), new RunContext(1))).Argument);
        Frame star = Drawn(-1, 0, 0, 0, 0);
        Assert.Throws<CannotMeasureException>(() => AlignmentMeasurement.Measure(Request([star, star]), new RunContext(1)));
        Assert.Throws<InputException>(() => AlignmentMeasurement.Measure(Request([star]) with { TopDeg = 90 }, new RunContext(1)));
        Assert.Throws<CannotMeasureException>(() => AlignmentMeasurement.Measure(Request([star with { SaturationAdu = 700 }]), new RunContext(1)));
    }

    private static AlignmentResult Measure(int[] sides, double comaX, double comaY, double offsetX, double offsetY) => AlignmentMeasurement.Measure(
        Request([.. sides.Select(s => Drawn(s, comaX, comaY, offsetX, offsetY))]) with { Side = sides[0] < 0 ? FocusSide.Inside : FocusSide.Outside },
        new RunContext(1));

    private static AlignmentRequest Request(Frame[] frames) => new()
    {
        Frames = frames,
        ApertureMm = 150,
        FocalLengthMm = 150 * Ratio,
        Pupil = new PupilShape { Obstruction = Hole },
        WavelengthNm = 540,
    };

    private static Frame Drawn(int side, double comaX, double comaY, double offsetX, double offsetY)
    {
        const int Size = 80;
        ushort[] adu = new ushort[Size * Size];
        SingleStarTruth truth = SingleStarDrawing.Draw(
            new SingleStarRequest
            {
                Telescope = new SimulatedTelescope
                {
                    ApertureMm = 150,
                    FocalLengthMm = 150 * Ratio,
                    Obstruction = Hole,
                    ObstructionX = offsetX,
                    ObstructionY = offsetY,
                    NollTerms = [8, 7],
                    CoefficientsNm = [comaX, comaY],
                },
                Detector = new DetectorResponse { Width = Size, Height = Size, PitchUm = 4 },
                Passband = new SimulatedPassband { LowNm = 535, HighNm = 545, Samples = 1 },
                Electrons = 2e6,
                FocusPositionUm = side * 6 * 0.54 * 8 * Ratio * Ratio,
                Seed = 3 + side,
            },
            adu, new RunContext(1));
        var pixels = RawPixels.FromFloats(Array.ConvertAll(adu, v => (float)v), Size, Size);
        var detector = new DetectorResponse { Width = Size, Height = Size, PitchUm = 4 };
        return new Frame
        {
            Pixels = pixels,
            Name = side < 0 ? "inside" : "outside",
            PitchUm = 4,
            GainElectronsPerAdu = detector.GainElectronsPerAdu,
            ReadNoiseElectrons = detector.ReadNoiseElectrons,
            ExposureS = 20,
            SaturationAdu = truth.SaturationAdu,
        };
    }
}
