using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>
/// Components drawn as a true ellipticity plus Gaussian noise; the length then follows Rice's law (S. O. Rice, Bell System
/// Technical Journal 24, 46, 1945), whose mean square e^2 + 2 s^2 the estimate must undo.
/// </summary>
public sealed class TypicalEllipticityTests
{
    [Theory]
    [InlineData(0.00, 0.02, 400)]
    [InlineData(0.03, 0.03, 400)]
    [InlineData(0.03, 0.01, 60)]
    [InlineData(0.15, 0.05, 100)]
    public void RecoversTheTrueOneUnderNoise(double truth, double noise, int stars)
    {
        const int Trials = 200;
        double sum = 0, squares = 0, promised = 0;
        for (int trial = 0; trial < Trials; trial++)
        {
            Measured found = Draw(truth, noise, stars, trial, wild: 0);
            double e = FromAxes(found.Value);
            sum += (e * e) - (truth * truth);
            squares += Math.Pow(found.Value - ToAxes(truth), 2);
            promised += found.Uncertainty * found.Uncertainty;
        }

        // Mean of e^2: unbiased within three standard errors of the mean of the trials (where 0 does not cut it off).
        double spread = Math.Sqrt(squares / Trials);
        if (truth > 0)
        {
            double errorOfMean = 3 * 2 * truth * spread / Math.Sqrt(Trials);
            Assert.InRange(sum / Trials, -errorOfMean - 1e-6, errorOfMean + 1e-6);
            Assert.InRange(spread / Math.Sqrt(promised / Trials), 0.8, 1.25);
        }
        else
        {
            // sqrt(2 s^2 / sqrt(n)) is what the noise of the mean square lets through.
            Assert.InRange(spread, 0, 1.5 * Math.Sqrt(2 * noise * noise / Math.Sqrt(stars)));
        }
    }

    [Fact]
    public void AFewWildOnesDoNotDecide()
    {
        Measured clean = Draw(0.03, 0.01, 200, 7, wild: 0);
        Measured spoiled = Draw(0.03, 0.01, 200, 7, wild: 6);
        Assert.InRange(spoiled.Value, clean.Value - (2 * clean.Uncertainty), clean.Value + (2 * clean.Uncertainty));
    }

    [Fact]
    public void NoStarsGiveNoValue()
    {
        Measured none = TypicalEllipticity.Of([double.NaN], [double.NaN], [0.1], [0], 0);
        Assert.True(double.IsNaN(none.Value));
    }

    private static Measured Draw(double truth, double noise, int stars, int seed, int wild)
    {
        var random = new Random(1000 + seed);
        double[] radial = new double[stars], cross = new double[stars], sigma = new double[stars];
        for (int k = 0; k < stars; k++)
        {
            // Half of the stars have twice the noise of the others.
            sigma[k] = k % 2 == 0 ? noise : 2 * noise;
            double angle = 2 * Math.PI * random.NextDouble();
            double e = k < wild ? 0.6 : truth;
            double e1 = (e * Math.Cos(angle)) + (sigma[k] * Normal(random)), e2 = (e * Math.Sin(angle)) + (sigma[k] * Normal(random));
            double length = Math.Sqrt((e1 * e1) + (e2 * e2)), shown = ToAxes(Math.Min(length, 0.99));
            (radial[k], cross[k]) = (shown * e1 / length, shown * e2 / length);
        }

        return TypicalEllipticity.Of(radial, cross, sigma, [.. Enumerable.Range(0, stars)], 0);
    }

    private static double Normal(Random random) =>
        Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());

    private static double ToAxes(double e) => 1 - Math.Sqrt((1 - e) / (1 + e));

    private static double FromAxes(double oneMinus)
    {
        double q = 1 - oneMinus;
        return (1 - (q * q)) / (1 + (q * q));
    }
}
