using StarAssay.Engine.Optics;
using StarAssay.Engine.Simulation;

namespace StarAssay.Engine.Tests.Optics;

public class LensCurveTests
{
    private static readonly double[] Nm = [405, 436, 486, 546, 588, 656, 707];
    private static readonly double[] Um = [190, 95, 22, 0, 4, 30, 58];

    [Fact]
    public void PassesThroughItsPointsAndRunsOnStraight()
    {
        var lens = new LensCurve(Nm, Um);
        Assert.All(Nm.Zip(Um), p => Assert.Equal(p.Second, lens.At(p.First), 1e-9));

        // Straight in the inverse wavelength beyond the ends: equal steps of it, equal steps of focus.
        double a = 1 / 400.0, b = 1 / 380.0;
        Assert.Equal(0.5 * (lens.At(1 / a) + lens.At(1 / b)), lens.At(2 / (a + b)), 1e-9);
        Assert.True(lens.At(380) > lens.At(400) && lens.At(400) > 190);
    }

    [Fact]
    public void IsTheNaturalSplineOfSciPy()
    {
        // scipy.interpolate.CubicSpline(1 / nm, um, bc_type="natural") of the same points, SciPy 1.10.
        var lens = new LensCurve(Nm, Um);
        Assert.All(SciPy, p => Assert.Equal(p.Um, lens.At(p.Nm), 1e-6));
    }

    [Fact]
    public void OneLensForEverySimulator()
    {
        var telescope = new SimulatedTelescope { ApertureMm = 115, FocalLengthMm = 760, ColorWavelengthsNm = Nm, ColorFocusUm = Um };
        double[] nm = [.. Enumerable.Range(0, 200).Select(x => 380 + (1.8 * x))];
        SpectrumTruth drawn = SpectrumSimulator.Draw(new SpectrumScene
        {
            Width = 200,
            Height = 16,
            WavelengthsNm = nm,
            CurveWavelengthNm = Nm,
            CurveFocusUm = Um,
            FocalRatio = telescope.FocalRatio,
            FocalLengthMm = 760,
            Pixels = new float[200 * 16],
        });
        Assert.Equal(nm.Select(telescope.FocusAt), drawn.FocusUm);
        Assert.Equal(0, new SimulatedTelescope { ApertureMm = 115, FocalLengthMm = 760 }.FocusAt(500));
        Assert.Equal(5, new LensCurve([400, 800], [0, 10]).At(1600 / 3.0), 1e-9);
    }

    private static readonly (double Nm, double Um)[] SciPy = [(420, 139.48774438), (460, 50.01948517), (510, 7.81321896), (570, 0.88947056),
        (620, 13.76728909), (690, 48.61273020)];
}
