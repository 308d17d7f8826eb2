using StarAssay.Engine.Numerics;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>Truth: the Gaussian that was drawn.</summary>
public class AdaptiveMomentsTests
{
    [Theory]
    [InlineData(1.44, 0.0, 1.44)]
    [InlineData(2.2, 0.6, 1.5)]
    [InlineData(9.0, -2.0, 5.0)]
    public void A_Gaussian_is_found_exactly(double cxx, double cxy, double cyy)
    {
        Stamp stamp = Gaussian(18, 18.31, 17.64, cxx, cxy, cyy, 1000);
        Ellipse e = AdaptiveMoments.Measure(stamp, 18, 18, 2, 0);
        Assert.True(e.Converged);

        // Sampling a Gaussian of variance v at whole pixels is exact to exp(-2 pi^2 v/2); the stop rule is 1e-4.
        Assert.Equal(18.31, e.X, 2e-4);
        Assert.Equal(17.64, e.Y, 2e-4);
        Assert.Equal(cxx, e.Cxx, 3e-3 * cxx);
        Assert.Equal(cxy, e.Cxy, 3e-3 * cxx);
        Assert.Equal(cyy, e.Cyy, 3e-3 * cyy);
        Assert.Equal(1000, e.Flux, 3.0);
        (double x, double y) = AdaptiveMoments.Center(stamp, e, 2);
        Assert.Equal(18.31, x, 2e-4);
        Assert.Equal(17.64, y, 2e-4);
    }

    [Fact]
    public void An_empty_stamp_has_no_ellipse() =>
        Assert.False(AdaptiveMoments.Measure(new Stamp(10), 10, 10, 2, 0).Converged);

    [Fact]
    public void Every_width_sums_like_the_scalar_twin()
    {
        Stamp stamp = Gaussian(14, 14.2, 13.9, 3, 0.5, 2, 500);
        for (int reach = 1; reach < 12; reach++)
        {
            int to = 14 - reach + ((((2 * reach) + 16) / 16 * 16) - 1);
            var w = new AdaptiveMoments.Window(14 - reach, to, 14 - reach, 14 + reach, 14.2f, 13.9f, -0.2f, 0.05f, -0.3f);
            WeightedSums truth = AdaptiveMoments.SumsScalar(stamp, w);
            foreach (WeightedSums got in new[] { AdaptiveMoments.SumsLanes<Lanes128>(stamp, w), AdaptiveMoments.SumsLanes<Lanes256>(stamp, w), AdaptiveMoments.SumsLanes<Lanes512>(stamp, w) })
            {
                // Single-precision sums and exponentials.
                Assert.Equal(truth.S, got.S, 2e-6 * truth.S);
                Assert.Equal(truth.X, got.X, 4e-6 * truth.S);
                Assert.Equal(truth.YY, got.YY, 4e-6 * truth.S);
                Assert.Equal(truth.XY, got.XY, 4e-6 * truth.S);
            }
        }
    }

    [Fact]
    public void Weights_carried_from_row_to_row_are_those_worked_out_afresh()
    {
        // The second is so steep in its corners that nothing may be carried.
        Stamp stamp = Gaussian(14, 14.2, 13.9, 3, 0.5, 2, 500);
        foreach ((float a, float b, float c) in new[] { (-0.12f, 0.05f, -0.15f), (-2f, 1f, -3f) })
        {
            var w = new AdaptiveMoments.Window(6, 21, 5, 23, 14.2f, 13.9f, a, b, c);
            WeightedSums truth = AdaptiveMoments.SumsScalar(stamp, w), got = AdaptiveMoments.SumsLanes<Lanes256>(stamp, w);
            Assert.Equal(truth.S, got.S, 3e-6 * truth.S);
            Assert.Equal(truth.YY, got.YY, 1e-5 * truth.YY);
            Assert.Equal(truth.XX, got.XX, 1e-5 * truth.XX);
        }
    }

    [Theory]
    [InlineData(300.0)]
    [InlineData(3000.0)]
    [InlineData(100000.0)]
    public void The_weight_that_places_a_star_best_is_found(double flux)
    {
        const double V = 2.5, N = 20, G = 1.5;
        double Variance(double k) => Math.Pow(k + 1, 4) / (k * k) * ((Math.PI * V * N * N / (2 * flux * flux)) + (1 / (G * flux * (k + 2) * (k + 2))));
        double found = AdaptiveMoments.Widening(new Ellipse(0, 0, V, 0, V, flux, true), N, G);
        double best = Enumerable.Range(0, 1001).Select(i => 1 + (i * (11 / 9.0) / 1000)).MinBy(Variance);
        Assert.Equal(best, found, 0.002);
    }

    internal static Stamp Gaussian(int half, double x0, double y0, double cxx, double cxy, double cyy, double flux)
    {
        var stamp = new Stamp(half);
        double det = (cxx * cyy) - (cxy * cxy);
        for (int y = 0; y < stamp.Side; y++)
        {
            for (int x = 0; x < stamp.Side; x++)
            {
                double dx = x - x0, dy = y - y0;
                double q = ((cyy * dx * dx) - (2 * cxy * dx * dy) + (cxx * dy * dy)) / det;
                stamp.Pixels[(y * stamp.Stride) + x] = (float)(flux / (2 * Math.PI * Math.Sqrt(det)) * Math.Exp(-0.5 * q));
            }
        }

        return stamp;
    }
}
