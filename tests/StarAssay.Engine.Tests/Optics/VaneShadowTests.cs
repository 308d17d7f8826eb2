using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.PairFit;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>Vanes on a grid of samples: area and place, which sampling must not lose, and the frequencies an image sees, all in closed form.</summary>
public class VaneShadowTests
{
    [Theory]
    [InlineData(0.0, 1.3)]
    [InlineData(0.31, 0.6)]
    [InlineData(0.5, 2.0)]
    public void A_stripe_between_samples_keeps_its_area_and_its_place(double middle, double width)
    {
        double[] taken = [.. Enumerable.Range(-20, 41).Select(s =>
            VaneShadow.Smoothed(s - middle + (width / 2)) - VaneShadow.Smoothed(s - middle - (width / 2)))];
        Assert.Equal(width, taken.Sum(), 2e-3);
        Assert.Equal(middle, taken.Select((t, k) => t * (k - 20)).Sum() / width, 2e-3);
    }

    [Theory]
    [InlineData(0.1, 0.002)]
    [InlineData(0.25, 0.003)]
    [InlineData(0.33, 0.01)]
    public void A_stripe_keeps_its_frequencies_up_to_a_third_of_a_cycle(double cycles, double within)
    {
        // Of a stripe of width w about 0: sin(pi f w)/(pi f).
        const double Middle = 0.37, Wide = 1.4;
        (double re, double im) = (0, 0);
        for (int s = -20; s <= 20; s++)
        {
            double taken = VaneShadow.Smoothed(s - Middle + (Wide / 2)) - VaneShadow.Smoothed(s - Middle - (Wide / 2));
            re += taken * Math.Cos(2 * Math.PI * cycles * (s - Middle));
            im += taken * Math.Sin(2 * Math.PI * cycles * (s - Middle));
        }

        double truth = Math.Sin(Math.PI * cycles * Wide) / (Math.PI * cycles);
        Assert.Equal(truth, re, within * truth);
        Assert.Equal(0, im, within * truth);
    }

    [Fact]
    public void Far_from_vanes_all_is_open()
    {
        const int Size = 66;
        double[] open = [.. Enumerable.Repeat(1.0, Size * Size)];
        VaneShadow.TakeOut([new Vane(90, 0.02)], Size, 64, open);
        Assert.Equal(1, open[(60 * Size) + 10]);
        Assert.Equal(1, open[(10 * Size) + 33]);
        Assert.InRange(open[(60 * Size) + 33], -0.2, 0.2);
    }
}
