using StarAssay.Engine.Decisions;
using StarAssay.Engine.Measurements.ColorFocus;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Decisions;

/// <summary>Truth: two values are told apart beyond two standard uncertainties of their difference (score above 1, k = 2).</summary>
public class OrderOfMeritTests
{
    private static InstrumentQuantity Strehl(string name, double value, double u) =>
        new(name, ColorFocusQuantities.PolychromaticStrehl.Of(new Measured(value, u, "")));

    [Fact]
    public void Neighbors_are_compared_by_the_one_rule()
    {
        // Differences 0.02 and 0.03 of sqrt(2) x 0.01 = 0.01414: 2 u = 0.0283 lies between them.
        OrderOfMerit o = OrderOfMerit.Of(new OrderRequest { Instruments = [Strehl("b", 0.93, 0.01), Strehl("c", 0.90, 0.01), Strehl("a", 0.95, 0.01)] });
        Assert.Equal(["a", "b", "c"], o.Names);
        Assert.Equal([2, 0, 1], o.Order);
        Assert.Equal([false, true], o.Decided);
    }

    [Fact]
    public void Where_less_is_better_the_least_comes_first()
    {
        InstrumentQuantity Rms(string name, double nm) => new(name, WavefrontQuantities.Rms.Of(new Measured(nm, 1, "nm")));
        OrderOfMerit o = OrderOfMerit.Of(new OrderRequest { Instruments = [Rms("rough", 60), Rms("fine", 20)] });
        Assert.Equal(["fine", "rough"], o.Names);
        Assert.True(o.Decided[0]);
    }

    [Fact]
    public void What_is_doubted_or_not_known_is_not_told_apart()
    {
        InstrumentQuantity doubted = Strehl("a", 0.95, 0.001);
        doubted = doubted with { Quantity = doubted.Quantity with { Doubts = ["Signs open."] } };
        OrderOfMerit o = OrderOfMerit.Of(new OrderRequest { Instruments = [doubted, Strehl("b", 0.5, 0.001), Strehl("none", double.NaN, double.NaN)] });
        Assert.Equal(["a", "b", "none"], o.Names);
        Assert.Equal([false, false], o.Decided);
        Assert.Contains("Signs open.", o.Reasons[0], StringComparison.Ordinal);
        Assert.False(OrderOfMerit.Of(new OrderRequest { Instruments = [Strehl("a", 1, 0), Strehl("b", 0.9, 0)] }).Decided[0]);
    }
}
