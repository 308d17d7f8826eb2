using MathNet.Numerics;
using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Tests.Measurements.Wavefront;

/// <summary>Parts of the uncertainty that can be checked by themselves.</summary>
public class UncertaintyPartTests
{
    /// <summary>Noll 1976, J. Opt. Soc. Am. 66, 207, table IV: residuals 0.134, 0.0648, 0.0377 (after 3, 6 and 10 modes; the orders between share
    /// their differences).</summary>
    [Fact]
    public void InstantVariancesAreNolls()
    {
        Assert.Equal(0.134 - 0.0648, 3 * AirVariance.Instant(2), 1e-3);
        Assert.Equal(0.0648 - 0.0377, 4 * AirVariance.Instant(3), 3e-3);
    }

    /// <summary>The integral along the line across the wind, summed step by step.</summary>
    [Theory]
    [InlineData(2)]
    [InlineData(3)]
    [InlineData(7)]
    public void AMeanOverPassingAirKeepsTheFrequenciesAcrossTheWind(int n)
    {
        // Phase spectrum 0.0228956 f^(-11/3) (Noll's 0.023 in full), filter (n + 1) [2 J(n + 1, pi f)/(pi f)]^2, in units of the aperture.
        double sum = 0;
        const double Step = 1e-3;
        for (double f = Step / 2; f < 40; f += Step)
        {
            double bessel = 2 * SpecialFunctions.BesselJ(n + 1, Math.PI * f) / (Math.PI * f);
            sum += 2 * 0.0228956 * Math.Pow(f, -11.0 / 3.0) * (n + 1) * bessel * bessel * Step;
        }

        // At f = 0 the integrand of order 2 goes as f^(1/3): half a per cent at this step.
        Assert.Equal(sum / 250, AirVariance.Mean(n, 250), 5e-3 * sum / 250);
    }

    [Fact]
    public void AMeanOverNoTimeIsAnInstant()
    {
        Assert.Equal(AirVariance.Instant(4), AirVariance.Mean(4, 0));
    }

    /// <summary>12.6, 14.4 and 15.2 nm: s = 1.33 nm, over sqrt(3) (JCGM 100:2008, 4.2.3).</summary>
    [Fact]
    public void ThreePairsGiveTheStandardErrorOfTheirMean()
    {
        double[] astigmatism = [12.6, 14.4, 15.2];
        double squared = PairScatter.SquaredStandardError(astigmatism);
        Assert.Equal(0.77, Math.Sqrt(squared), 0.005);
        Matrix<double> random = Matrix<double>.Build.DenseOfArray(new[,] { { 0.04, 0.01 }, { 0.01, 0.09 } });
        Matrix<double> wide = random + PairScatter.Excess(random, [squared, 0.02]);
        Assert.Equal(squared, wide[0, 0], 1e-12); // this mode by its scatter
        Assert.Equal(0.09, wide[1, 1], 1e-12); // the other, which scatters by less than it says, stays
        double correlation = 0.01 / Math.Sqrt(0.04 * 0.09);
        Assert.Equal(correlation, wide[0, 1] / Math.Sqrt(wide[0, 0] * wide[1, 1]), 1e-12);
    }

    [Fact]
    public void PowerBeyondTheModesIsWhatChiSquaredExceedsItsExpectationBy()
    {
        var modes = new FitModes(0, 22, 45);
        Matrix<double> normal = Matrix<double>.Build.DenseDiagonal(18, 18, 50);
        Assert.Equal(0, UnseenPower.From(normal, modes, 18, 10100, 10000).BoundNm2); // within twice sqrt(2 x 10000)
        UnseenPower unseen = UnseenPower.From(normal, modes, 18, 20000, 10000);
        Assert.Equal((10000 - (2 * Math.Sqrt(20000))) / 50, unseen.BoundNm2, 1e-9);
        Assert.Equal(unseen.BoundNm2 / 2, unseen.MeanNm2); // JCGM 100:2008, 4.3.7: a rectangle from 0
        Assert.Equal(unseen.BoundNm2 / Math.Sqrt(12), unseen.SigmaNm2, 1e-12);
    }
}
