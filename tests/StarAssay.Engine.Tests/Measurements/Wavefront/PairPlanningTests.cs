using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;
using Xunit;

namespace StarAssay.Engine.Tests.Measurements.Wavefront;

public class PairPlanningTests
{
    private static readonly PairPlanRequest Request = new()
    {
        ApertureMm = 100,
        FocalLengthMm = 700,
        WavelengthNm = 540,
        PitchUm = 6,
        Noll = [6, 8, 11],
        CoefficientsNm = [-9, 9, 9],
        DefocusUm = 1100,
        LightElectrons = 3e6,
        ExposureS = 5,
        SeeingArcsec = 2,
        MostPairs = 3,
        Draws = 1,
        Nights = 300,
    };

    /// <summary>The assumed wavefront has RMS sqrt(3) 9 nm over a clear circle (Noll's modes are orthonormal) and exp(-(2 pi RMS / lambda)^2)
    /// for Strehl ratio, which is good to 0.001 there; nights scatter about that as they say, and less with more pairs.</summary>
    [Fact]
    public void NightsScatterAboutTheTruthAsTheyState()
    {
        PairPlan plan = PairPlanning.Plan(Request, new RunContext(1));
        PlannedQuantity rms = plan.Quantities.Single(q => q.Name == "wavefront_rms"), strehl = plan.Quantities.Single(q => q.Name == "strehl");
        Assert.InRange(rms.Truth, Math.Sqrt(3) * 8.95, Math.Sqrt(3) * 9.05);
        Assert.InRange(strehl.Truth - Math.Exp(-Math.Pow(2 * Math.PI * rms.Truth / 540, 2)), -0.001, 0.001);
        Assert.Equal(0, plan.Doubted);
        double before = double.PositiveInfinity;
        for (int row = 0; row < 3; row++)
        {
            double[] pulls = [.. Enumerable.Range(0, 300).Select(k => (strehl.Values[row, k] - strehl.Truth) / strehl.Uncertainties[row, k])];

            // 68 % within the bars, of 300 nights: 2.7 % standard error; bars of few pairs are wide rather than narrow.
            Assert.InRange(pulls.Count(p => Math.Abs(p) < 1) / 300.0, 0.58, 0.82);
            double mean = Enumerable.Range(0, 300).Average(k => strehl.Uncertainties[row, k]);
            Assert.True(mean < before);
            before = mean;
        }
    }

    /// <summary>Variance of a mode in one image: Noll's law for the mean over a time, (D/r0)^(5/3) D/(v T) 0.0129 rad^2 for order 2
    /// (docs/wavefront.md).</summary>
    [Fact]
    public void AirIsThatOfTheBudget()
    {
        double strength = Math.Pow(0.1 / Seeing.R0FromFwhm(2, 540), 5.0 / 3);
        double expected = 0.0128886 * strength * 0.1 / (6 * 5) * Math.Pow(540 / (2 * Math.PI), 2);
        Assert.Equal(1, PairPlanning.AirOfOneImage(Request, 2) / expected, 6);
    }

    [Fact]
    public void ModesThatAreNotAssumedSoAreRefused() =>
        Assert.Throws<InputException>(() => PairPlanning.Plan(Request with { Noll = [4], CoefficientsNm = [10] }, new RunContext(1)));
}
