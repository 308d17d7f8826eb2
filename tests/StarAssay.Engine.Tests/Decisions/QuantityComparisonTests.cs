using StarAssay.Engine.Decisions;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;
using Xunit;

namespace StarAssay.Engine.Tests.Decisions;

public class QuantityComparisonTests
{
    private static ComparedSide Strehl(string name, double value, double u, double random = double.NaN, double nm = 540) => new()
    {
        Name = name,
        Quantity = WavefrontQuantities.Strehl.Of(new Measured(value, u, string.Empty), random, nm),
    };

    private static ComparedSide Width(string name, double arcsec, double seeing) => new()
    {
        Name = name,
        Quantity = QuantityCatalog.Find("star_fwhm").Of(new Measured(arcsec, 0.02, "arcsec")),
        Seeing = WavefrontQuantities.Seeing.Of(new Measured(seeing, 0.1, "arcsec"), double.NaN, 540),
    };

    private static QuantityComparison Compare(ComparedSide a, ComparedSide b, bool same = false) =>
        QuantityComparison.Of(new QuantityComparisonRequest { First = a, Second = b, SameSetup = same });

    /// <summary>E_n = (b - a) / (2 sqrt(ua^2 + ub^2)), as ISO/IEC 17043 has it (from memory).</summary>
    [Fact]
    public void ScoreIsTheOneOfProficiencyTests()
    {
        QuantityComparison found = Compare(Strehl("Juniper", 0.94, 0.006), Strehl("Alder", 0.97, 0.008));
        Assert.Equal(0.03 / (2 * 0.01), found.Score, 9);
        Assert.Equal(Ranking.Second, found.Ranking);
        Assert.Equal("Strehl ratio: 0.9400 ± 0.0060 (Juniper) and 0.9700 ± 0.0080 (Alder): Alder is the better one (difference 0.030 ± 0.010).", found.Reason);
        QuantityComparison near = Compare(Strehl("Juniper", 0.955, 0.006), Strehl("Alder", 0.97, 0.008));
        Assert.False(near.Differ);
        Assert.Equal(Ranking.NotToldApart, near.Ranking);
    }

    /// <summary>What both share cancels: u^2 = ra^2 + rb^2 + (sa - sb)^2 (JCGM 100, 5.2.2, correlation 1 of the common parts).</summary>
    [Fact]
    public void CommonPartsCancelWithOneSetup()
    {
        ComparedSide before = Strehl("before", 0.940, 0.005, 0.003), after = Strehl("after", 0.952, 0.005, 0.003);
        Assert.Equal(Math.Sqrt(2) * 0.003, Compare(before, after, same: true).Difference.Uncertainty, 9);
        Assert.Equal(Math.Sqrt(2) * 0.005, Compare(before, after).Difference.Uncertainty, 9);
        Assert.True(Compare(before, after, same: true).Differ);
        Assert.False(Compare(before, after).Differ);

        // Not known what averages out: then nothing is taken to cancel.
        Assert.Equal(Math.Sqrt(2) * 0.005, Compare(Strehl("a", 0.94, 0.005), Strehl("b", 0.95, 0.005), same: true).Difference.Uncertainty, 9);
    }

    [Fact]
    public void OtherWavelengthIsNotCompared()
    {
        QuantityComparison found = Compare(Strehl("Juniper", 0.94, 0.006), Strehl("Alder", 0.97, 0.008, nm: 633));
        Assert.False(found.Comparable);
        Assert.Contains("at 540 nm for Juniper and at 633 nm for Alder", found.Reason);
        Assert.True(Compare(Strehl("Juniper", 0.94, 0.006), Strehl("Alder", 0.97, 0.008, nm: 545)).Comparable);
    }

    [Fact]
    public void NumberInDoubtIsNotCompared()
    {
        ComparedSide doubted = Strehl("Alder", 0.97, 0.008);
        doubted = doubted with { Quantity = doubted.Quantity with { Doubts = ["The ring was clipped."] } };
        Assert.Contains("in doubt. The ring was clipped.", Compare(Strehl("Juniper", 0.94, 0.006), doubted).Reason);
    }

    [Fact]
    public void BoundIsTakenFromTheDifference()
    {
        ComparedSide a = Strehl("a", 0.90, 0.004), b = Strehl("b", 0.93, 0.003);
        b = b with { Quantity = b.Quantity with { MayBeLess = 0.025 } };
        Assert.Equal(0.005 / (2 * 0.005), Compare(a, b).Score, 9);
        Assert.False(Compare(a, b).Differ);
    }

    /// <summary>Widths through the air: under seeings that differ by a quarter and more nothing is said; under like ones their ratio widens
    /// the bar by value times ln(ratio).</summary>
    [Fact]
    public void StarWidthsNeedLikeSeeing()
    {
        Assert.Contains("the seeing was 2.0 arcsec for a and 3.0 arcsec for b", Compare(Width("a", 2.5, 2), Width("b", 3.4, 3)).Reason);
        QuantityComparison like = Compare(Width("a", 2.5, 2), Width("b", 3.4, 2.2));
        Assert.True(like.Comparable);
        Assert.Equal(Math.Sqrt((2 * 0.02 * 0.02) + Math.Pow(3.4 * Math.Log(1.1), 2)), like.Difference.Uncertainty, 9);
        Assert.Contains("is not known", Compare(Width("a", 2.5, 2) with { Seeing = null }, Width("b", 3.4, 2.2)).Reason);
        Assert.Contains("says nothing about a telescope", Compare(Seeing("a"), Seeing("b")).Reason);

        static ComparedSide Seeing(string name) => new()
        {
            Name = name,
            Quantity = WavefrontQuantities.Seeing.Of(new Measured(2, 0.1, "arcsec"), double.NaN, 540),
        };
    }

    [Fact]
    public void CornersNeedOneFormat()
    {
        ComparedSide Corner(string name, double mm) => new()
        {
            Name = name,
            DiagonalMm = mm,
            Quantity = QuantityCatalog.Find("corner_illumination").Of(new Measured(0.7, 0.01, string.Empty)),
        };
        Assert.True(Compare(Corner("a", 28.3), Corner("b", 28.2)).Comparable);
        Assert.Contains("28.3 mm and 43.2 mm", Compare(Corner("a", 28.3), Corner("b", 43.2)).Reason);
        Assert.Contains("not known", Compare(Corner("a", 28.3), Corner("b", double.NaN)).Reason);
    }

    [Fact]
    public void WhereNeitherWayIsBetterItIsOnlySaidThatTheyDiffer()
    {
        ComparedSide Length(string name, double mm) => new()
        {
            Name = name,
            Quantity = QuantityCatalog.Find("focal_length").Of(new Measured(mm, 0.5, "mm")),
        };
        QuantityComparison found = Compare(Length("a", 760), Length("b", 764));
        Assert.True(found.Differ);
        Assert.Equal(Ranking.NotToldApart, found.Ranking);
        Assert.Contains("they differ", found.Reason);
    }

    [Fact]
    public void TwoKindsAreRefused() => Assert.Throws<InputException>(() => Compare(Strehl("a", 0.9, 0.01), Width("b", 3, 2)));
}
