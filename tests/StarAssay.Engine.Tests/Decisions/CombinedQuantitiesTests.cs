using StarAssay.Engine.Decisions;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Decisions;

/// <summary>Truth: closed forms of the weighted mean and of the law of propagation (JCGM 100:2008, 5.2.2).</summary>
public class CombinedQuantitiesTests
{
    private static Quantity Fwhm(double value, double random, double common, params string[] doubts) =>
        StarQuantities.Fwhm.Of(new Measured(value, double.Hypot(random, common), "arcsec"), random, 540) with { Doubts = doubts };

    [Fact]
    public void What_frames_share_does_not_average()
    {
        // Two equal weights: mean 3.01, random 0.1/sqrt 2; the shared part stays 0.03.
        CombinedQuantities c = CombinedQuantities.Of([[Fwhm(3.00, 0.1, 0.03)], [Fwhm(3.02, 0.1, 0.03)]]);
        Quantity q = Assert.Single(c.Quantities);
        Assert.Equal(3.01, q.Value.Value, 12);
        Assert.Equal(0.1 / Math.Sqrt(2), q.RandomPart, 12);
        Assert.Equal(0.03, q.CommonPart, 12);
        Assert.Equal(Math.Sqrt(0.005 + 0.0009), q.Value.Uncertainty, 12);
        Assert.Equal(2, q.Count);
        Assert.Equal(540, q.WavelengthNm);
        Assert.Empty(c.Notes);
    }

    /// <summary>Weights 0.8 and 0.2 (u = 1 and 2); fully correlated parts 0.5 and 0: 0.8 x 0.5.</summary>
    [Fact]
    public void Shared_parts_go_with_the_weights_of_the_mean()
    {
        Quantity q = CombinedQuantities.Of([[Fwhm(10, 1, 0.5)], [Fwhm(10, 2, 0)]]).Quantities[0];
        Assert.Equal(0.4, q.CommonPart, 12);
        Assert.Equal(Math.Sqrt(0.8), q.RandomPart, 12);
    }

    /// <summary>Values 3.0, 3.3, 3.6 with u = 0.05: scatter 0.3, its mean's 0.3/sqrt 3, from two degrees of freedom.</summary>
    [Fact]
    public void Frames_that_scatter_say_so_by_the_quantity_s_label()
    {
        CombinedQuantities c = CombinedQuantities.Of([[Fwhm(3.0, 0.05, 0)], [Fwhm(3.3, 0.05, 0)], [Fwhm(3.6, 0.05, 0)]]);
        Assert.Equal(0.3 / Math.Sqrt(3), c.Quantities[0].RandomPart, 1e-9);
        Assert.Equal(2, c.Quantities[0].DegreesOfFreedom);
        Note note = Assert.Single(c.Notes);
        Assert.Equal(("decision.scatter", "star FWHM, median"), (note.Code, note.Subject));
    }

    [Fact]
    public void Where_the_random_part_is_not_known_nothing_averages()
    {
        Quantity Pv(double v) => WavefrontQuantities.Pv.Of(new Measured(v, 8, "nm"), double.NaN, 540);
        Quantity q = CombinedQuantities.Of([[Pv(100)], [Pv(104)]]).Quantities[0];
        Assert.Equal(102, q.Value.Value, 12);
        Assert.Equal(8, q.Value.Uncertainty, 12);
        Assert.True(double.IsNaN(q.RandomPart));
    }

    [Fact]
    public void One_measurement_stays_as_it_is_and_doubts_of_all_stay()
    {
        Quantity only = Fwhm(3, 0.1, 0.03, "Trailed.");
        Assert.Equal(only, CombinedQuantities.Of([[only], []]).Quantities[0]);
        Assert.Equal(["Trailed.", "Clouds."], CombinedQuantities.Of([[only], [Fwhm(3, 0.1, 0, "Clouds.")], [only]]).Quantities[0].Doubts);
    }

    /// <summary>A ratio of 1 with no spread in either frame keeps its one-sided bound.</summary>
    [Fact]
    public void A_bound_survives_the_mean()
    {
        Quantity Full(double less) => StarQuantities.Ellipticity.Of(new Measured(1, 0, "")) with { MayBeLess = less };
        Quantity q = CombinedQuantities.Of([[Full(0.004)], [Full(0.006)]]).Quantities[0];
        Assert.Equal((1, 0, 0.006), (q.Value.Value, q.Value.Uncertainty, q.MayBeLess));
    }

    [Fact]
    public void Two_wavelengths_have_no_mean() =>
        Assert.Throws<InputException>(() => CombinedQuantities.Of([[Fwhm(3, 0.1, 0)], [Fwhm(3, 0.1, 0) with { WavelengthNm = 656 }]]));
}
