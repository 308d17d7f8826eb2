using StarAssay.Engine.Measurements.ColorFocus;
using StarAssay.Engine.Optics;
using Xunit;

namespace StarAssay.Engine.Tests.Measurements.ColorFocus;

public class SignTests
{
    [Fact]
    public void A_crossing_in_a_wide_low_stretch_is_among_the_choices_of_signs()
    {
        // A straight curve through zero in one third of the spectrum: its size is below 0.22 of the largest over a wide stretch.
        double[] curve = [.. Enumerable.Range(0, 90).Select(k => (10.0 * k) - 308)];
        double[] size = [.. curve.Select(Math.Abs)];
        List<double[]> choices = SignPatterns.All(size, 1500);
        double Off(double[] c) => Math.Min(c.Zip(curve, (a, b) => Math.Abs(a - b)).Max(), c.Zip(curve, (a, b) => Math.Abs(a + b)).Max());
        Assert.Equal(0, choices.Min(Off), 1e-9);
        Assert.Contains(choices, c => c.All(v => v >= 0) || c.All(v => v <= 0)); // and so is a curve that turns back
    }

    [Fact]
    public void What_all_colors_share_goes_to_the_seeing_by_squares()
    {
        // Independent blurs add as squares (variance of a sum of independent variables).
        double[] curve = [50, -60, 70, 130];
        double[] left = CommonDefocus.Removed(curve);
        Assert.Equal(0, left[0], 1e-12);
        for (int k = 0; k < curve.Length; k++)
        {
            Assert.Equal(2500, (curve[k] * curve[k]) - (left[k] * left[k]), 1e-9);
            Assert.True(left[k] * curve[k] >= 0);
        }
    }

    [Theory]
    [InlineData(40, true)] // disc of 2 pixels in seeing of 4
    [InlineData(600, false)] // disc of 30 pixels
    public void Seeing_stands_for_a_small_disc_and_not_for_a_large_one(double defocusUm, bool stands)
    {
        // slow twin: the best width of the seeing by trial, light-weighted as photon noise weights it
        var grid = new ProfileGrid(-40, 81, 162);
        var model = new ProfileModel(grid, DefocusTransfer.For(0), 550, 5, 4, 0);
        ProfileModel.Work work = model.NewWork();
        double[] disc = new double[81], seeing = new double[81], x = new double[81];
        model.Evaluate(defocusUm, 4, 0, 0, work, disc, x, x, x, x);
        double least = double.MaxValue;
        for (double width = 3; width < 30; width *= 1.01)
        {
            model.Evaluate(0, width, 0, 0, work, seeing, x, x, x, x);
            least = Math.Min(least, disc.Zip(seeing, (a, b) => (a - b) * (a - b) / Math.Max(a, 1e-4)).Sum());
        }

        // The profile's own energy, weighted alike, is its light: 1. A hundredth of the shape is 1e-4 of that.
        Assert.Equal(stands, least < 1e-4);
    }
}
