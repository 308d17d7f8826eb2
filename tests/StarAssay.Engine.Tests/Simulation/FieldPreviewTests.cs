using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Simulation;
using Xunit;

namespace StarAssay.Engine.Tests.Simulation;

/// <summary>Stars over a field against closed forms.</summary>
public class FieldPreviewTests
{
    private const double Ratio = 5;
    private const double Nm = 550;

    /// <summary>Intensity in the center under defocus, [sin(pi W) / (pi W)]^2 (Born and Wolf, ch. 8.8).</summary>
    [Theory]
    [InlineData(0.25, 0.810569)]
    [InlineData(0.5, 0.405285)]
    [InlineData(0.75, 0.090063)]
    public void Tilt_defocuses_the_rim_as_its_slope_says(double waves, double center)
    {
        // W = dz / (8 N^2): so many um of focus at the rim, 10 mm from the middle.
        double um = waves * Nm * 1e-3 * 8 * Ratio * Ratio;
        FieldPreviewResult drawn = Draw(new FieldErrors { TiltXUmPerMm = um / 10 }, [0, 10, -10], [0, 0, 0]);
        Assert.Equal([0, um, -um], drawn.DefocusUm, (a, b) => Math.Abs(a - b) < 1e-9);
        Assert.Equal(1, Middle(drawn, 0), 0.002);
        Assert.Equal(center, Middle(drawn, 1), 0.004);
        Assert.Equal(center, Middle(drawn, 2), 0.004);
        Assert.Equal(waves * Nm / (2 * Math.Sqrt(3)), drawn.RmsNm[1], 1e-6);
    }

    [Fact]
    public void Curvature_grows_with_the_square_of_the_distance()
    {
        FieldPreviewResult drawn = Draw(new FieldErrors { CurvatureUmPerMm2 = 0.5 }, [0, 3, 6], [0, 4, 8]);
        Assert.Equal([0, -12.5, -50], drawn.DefocusUm, (a, b) => Math.Abs(a - b) < 1e-9);
    }

    [Fact]
    public void What_cannot_be_drawn_is_refused()
    {
        InputException far = Assert.Throws<InputException>(() => Draw(new FieldErrors { TiltXUmPerMm = 500 }, [0, 10], [0, 0]));
        Assert.Contains("too far out of focus", far.Message, StringComparison.Ordinal);
        Assert.Throws<InputException>(() => Draw(new FieldErrors(), [0, 10], [0]));
    }

    private static FieldPreviewResult Draw(FieldErrors field, double[] x, double[] y) =>
        FieldPreview.Draw(new FieldPreviewRequest(field, PupilShape.Clear, Ratio, Nm, 0, x, y, 20, 41), RunContext.Default);

    private static double Middle(FieldPreviewResult drawn, int place) => drawn.Images[(place * 41 * 41) + (20 * 41) + 20];
}
