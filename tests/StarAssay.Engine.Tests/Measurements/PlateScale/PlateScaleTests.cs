using StarAssay.Engine.Measurements.PlateScale;
using StarAssay.Engine.Results;
using Xunit;

namespace StarAssay.Engine.Tests.Measurements.PlateScale;

/// <summary>Plate scale against closed forms: f = p / tan(angle of a pixel), distortion (h - f tan w) / (f tan w) as in ISO 9039.</summary>
public sealed class PlateScaleTests
{
    private const int Width = 1001, Height = 801;
    private const double PitchUm = 5, FocalMm = 400, Half = 640.3;

    [Theory]
    [InlineData(0, 1, 0, 0)]
    [InlineData(73, 1, 0.004, 0.001)]
    [InlineData(200, -1, -0.02, 0.003)]
    public void Perfect_stars_give_focal_length_and_distortion_exactly(double turn, int flip, double third, double fifth)
    {
        PlateScaleResult found = PlateScaleMeasurement.Measure(Field(turn, flip, third, fifth), RunContext.Default);
        Assert.Equal(FocalMm, found.FocalLength.Value, 1e-6);
        Assert.Equal(flip > 0, found.Mirrored);

        // At every angle of the curve; heights as tangents in units of that of the corner.
        for (int k = 0; k < found.FieldAngleDeg.Length; k++)
        {
            double r = Math.Tan(found.FieldAngleDeg[k] * Math.PI / 180) * FocalMm * 1000 / PitchUm / Half;
            Assert.Equal(100 * ((third * r * r) + (fifth * r * r * r * r)), found.Distortion[k], 1e-6);
            Assert.Equal(FocalMm * Math.Tan(found.FieldAngleDeg[k] * Math.PI / 180), found.IdealHeightMm[k], 1e-6);
        }
    }

    [Fact]
    public void Field_of_view_is_twice_the_arc_tangent()
    {
        PlateScaleResult found = PlateScaleMeasurement.Measure(Field(30, -1, 0, 0), RunContext.Default);
        double Angle(double px) => 2 * Math.Atan(px * PitchUm / 2000 / FocalMm) * 180 / Math.PI;
        Assert.Equal(Angle(Width), found.FieldOfViewWidth.Value, 1e-8);
        Assert.Equal(Angle(Height), found.FieldOfViewHeight.Value, 1e-8);
        Assert.Equal(Angle(Math.Sqrt((Width * Width) + (Height * Height))), found.FieldOfViewDiagonal.Value, 1e-8);
        Assert.Equal(2.0626480625 * PitchUm * 100 / FocalMm, found.PixelScale.Value, 1e-7);
    }

    [Fact]
    public void Ratios_follow_and_carry_the_pitch_as_common_part()
    {
        PlateScaleRequest request = Field(0, -1, 0, 0) with { NominalFocalLengthMm = 500, ApertureMm = 100, PitchUncertaintyUm = 0.05 };
        PlateScaleResult found = PlateScaleMeasurement.Measure(request, RunContext.Default);
        Assert.Equal(0.8, found.ReducerFactor.Value, 1e-8);
        Assert.Equal(4.0, found.FocalRatio.Value, 1e-7);
        Quantity focal = found.Quantities.Single(q => q.Name == "focal_length");

        // 1 % of pitch and 0.05 % of refraction, in quadrature.
        Assert.Equal(FocalMm * Math.Sqrt(1e-4 + 25e-8), focal.CommonPart, 1e-4);
        Assert.InRange(focal.RandomPart, 1e-4, 0.01 * focal.CommonPart);
        Assert.Equal(focal.Value.Uncertainty, Math.Sqrt((focal.RandomPart * focal.RandomPart) + (focal.CommonPart * focal.CommonPart)), 1e-9);
        Assert.True(double.IsNaN(PlateScaleMeasurement.Measure(Field(0, -1, 0, 0), RunContext.Default).ReducerFactor.Value));
    }

    [Fact]
    public void Wrong_matches_change_nothing_and_are_counted()
    {
        PlateScaleRequest request = Field(20, -1, 0.01, 0);
        double[] xi = [.. request.Xi];
        for (int i = 0; i < xi.Length; i += 4)
        {
            xi[i] += 0.0004 * (1 + (i % 3));
        }

        PlateScaleResult found = PlateScaleMeasurement.Measure(request with { Xi = xi }, RunContext.Default);
        Assert.Equal(FocalMm, found.FocalLength.Value, 1e-6);
        Assert.Equal((xi.Length + 3) / 4, found.Used.Count(u => !u));
        Assert.Contains(found.Notes, n => n.Code == "plate-scale.many-wrong-matches" && n.Text.Contains("of 60 stars", StringComparison.Ordinal));
    }

    [Fact]
    public void Pixels_that_are_not_square_are_told()
    {
        PlateScaleRequest request = Field(0, -1, 0, 0);
        PlateScaleResult found = PlateScaleMeasurement.Measure(request with { X = [.. request.X.Select(x => x * 1.004)] }, RunContext.Default);
        Assert.Equal(0.004, found.Anamorphism.Value, 1e-9);
        Assert.Contains(found.Notes, n => n.Code == "plate-scale.not-square");
    }

    [Fact]
    public void Few_stars_say_what_they_cannot_tell()
    {
        PlateScaleRequest request = Field(0, -1, 0, 0);
        PlateScaleRequest First(int n) => request with { X = request.X[..n], Y = request.Y[..n], Xi = request.Xi[..n], Eta = request.Eta[..n] };
        PlateScaleResult eight = PlateScaleMeasurement.Measure(First(8), RunContext.Default);
        Assert.True(double.IsNaN(eight.DistortionEdge.Value));
        Assert.DoesNotContain(eight.Quantities, q => q.Name == "distortion_edge");
        Assert.Contains(eight.Notes, n => n.Code == "plate-scale.no-distortion");
        Assert.Equal(3, PlateScaleMeasurement.Measure(First(15), RunContext.Default).DistortionOrder);
        Assert.Throws<CannotMeasureException>(() => PlateScaleMeasurement.Measure(First(4), RunContext.Default));
    }

    [Fact]
    public void Positions_of_another_field_are_refused()
    {
        PlateScaleRequest request = Field(0, -1, 0, 0);
        double[] shuffled = [.. request.Xi.Select((_, i) => request.Xi[(i * 37) % request.Xi.Length])];
        CannotMeasureException refused = Assert.Throws<CannotMeasureException>(
            () => PlateScaleMeasurement.Measure(request with { Xi = shuffled }, RunContext.Default));
        Assert.Equal("plate-scale.no-agreement", refused.Code);
        Assert.Throws<InputException>(() => PlateScaleMeasurement.Measure(request with { PitchUm = 0 }, RunContext.Default));
    }

    /// <summary>Sixty stars spread evenly (golden ratio), at the pixels where a lens of that distortion images them.</summary>
    private static PlateScaleRequest Field(double turnDeg, int flip, double third, double fifth)
    {
        const int Stars = 60;
        double[] x = new double[Stars], y = new double[Stars], xi = new double[Stars], eta = new double[Stars];
        (double s, double c) = Math.SinCos(turnDeg * Math.PI / 180);
        for (int i = 0; i < Stars; i++)
        {
            double ix = 960 * (((i * 0.7548776662466927) % 1) - 0.5), iy = 760 * (((i * 0.5698402909980532) % 1) - 0.5);
            double r2 = ((ix * ix) + (iy * iy)) / (Half * Half), grow = 1 + (third * r2) + (fifth * r2 * r2);
            (x[i], y[i]) = (((Width - 1) / 2.0) + (ix * grow), ((Height - 1) / 2.0) + (iy * grow));
            double scale = PitchUm / 1000 / FocalMm;
            (xi[i], eta[i]) = (flip * scale * ((ix * c) - (iy * s)), scale * ((ix * s) + (iy * c)));
        }

        return new PlateScaleRequest
        {
            X = x,
            Y = y,
            Xi = xi,
            Eta = eta,
            Width = Width,
            Height = Height,
            PitchUm = PitchUm,
            XUncertainty = [.. x.Select(_ => 0.02)],
            YUncertainty = [.. x.Select(_ => 0.02)],
        };
    }
}
