using StarAssay.Engine.Measurements.ColorFocus;
using StarAssay.Engine.Optics;
using Xunit;

namespace StarAssay.Engine.Tests.Measurements.ColorFocus;

public class ProfileTwinTests
{
    [Theory]
    [InlineData(-40, 81, 900)] // an odd number of rows
    [InlineData(-31, 60, 25)] // an even one, the middle beside the center
    [InlineData(-20, 46, -300)]
    public void A_profile_is_the_plain_sum_of_its_series(int firstRow, int rows, double defocus)
    {
        // Slow twin: every frequency at every row, as the series is written (Goodman, the projection-slice theorem).
        const double Nm = 480, Ratio = 5.5, Pitch = 3.8, Blur = 0.3, SeeingPx = 1.4, Own = 0.2, Center = 0.37;
        var grid = new ProfileGrid(firstRow, rows, 2 * rows);
        DefocusTransfer transfer = DefocusTransfer.For(0.3);
        var model = new ProfileModel(grid, transfer, Nm, Ratio, Pitch, Blur);
        double[] p = new double[rows], z = new double[rows], s = new double[rows], b = new double[rows], c = new double[rows];
        model.Evaluate(defocus, SeeingPx, Own, Center, model.NewWork(), p, z, s, b, c);
        double own = SeeingLaw.Bounded(Own, SeeingPx).Variance;
        double period = 2 * rows, perPixel = Nm * Ratio / 1000 / Pitch, perUm = 1000 / (8 * Ratio * Ratio * Nm);
        double[] plain = new double[rows], slope = new double[rows];
        for (int r = 0; r < rows; r++)
        {
            plain[r] = 1 / period;
            for (int k = 1; k <= 2 * rows; k++)
            {
                double f = k / period;
                if (f * perPixel >= 1)
                {
                    break;
                }

                double air = Math.Exp(-(0.5 * Seeing.StructureConstant * Math.Pow(f * SeeingPx / Seeing.FwhmFactor, 5.0 / 3))
                    - (2 * Math.PI * Math.PI * f * f * (Blur + own))) * Math.Sin(Math.PI * f) / (Math.PI * f);
                double turn = 2 * Math.PI * f * (r + firstRow - Center);
                plain[r] += 2 / period * air * transfer.At(f * perPixel, defocus * perUm, out double d) * Math.Cos(turn);
                slope[r] += 2 / period * air * d * perUm * Math.Cos(turn);
            }
        }

        double top = plain.Max(), steepest = slope.Max(Math.Abs);
        for (int r = 0; r < rows; r++)
        {
            Assert.Equal(plain[r], p[r], 1e-5 * top);
            Assert.Equal(slope[r], z[r], 1e-5 * steepest);
        }
    }

    [Fact]
    public void Colors_between_two_images_are_seen_as_they_would_be_by_themselves()
    {
        // A focus that runs as steeply as an achromat's in the violet; images at every bin against those the step asks for.
        double[] columns = ColorImages.Columns(1000, 100, c => 2 * c, 60);
        Assert.True(columns.Length is > 30 and < 60, $"{columns.Length} images");
        Assert.All(columns.Zip(columns.Skip(1)), pair => Assert.True(2 * (pair.Second - pair.First) <= 60));

        // One that hardly changes is made every four bins; the outermost places are the same.
        double[] few = ColorImages.Columns(1000, 100, c => 0.01 * c, 60);
        Assert.True(few.Length is > 20 and < 30, $"{few.Length} images");
        Assert.Equal((columns[0], columns[^1]), (few[0], few[^1]));
    }
}
