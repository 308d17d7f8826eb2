using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>Truth: the drawn Gaussian stars (half-flux radius sqrt(2 ln 2) sigma) and the small-angle scale p/f.</summary>
public class FieldFiguresTests
{
    private static readonly RunContext Context = new(2);

    private static StarField Field(StarRequest request, double pitchUm = 3.76) =>
        StarMeasurement.Measure(request with { Frame = new TestSky().Frame with { PitchUm = pitchUm }, FitProfiles = ProfileFits.All }, Context);

    [Fact]
    public void Sizes_on_the_sky_follow_pitch_and_focal_length()
    {
        StarField field = Field(new StarRequest { FocalLengthMm = 760, FilterWavelengthNm = 540 });
        double scale = 3.76e-3 / 760 * 180 / Math.PI * 3600;
        Assert.Equal(scale, field.PixelScaleArcsecPerPx, 1e-9);
        Assert.False(field.ScaleFromSky);
        Quantity fwhm = field.Quantities.Single(q => q.Name == "star_fwhm"), hfr = field.Quantities.Single(q => q.Name == "star_hfr");
        Assert.Equal(1.1774 * TestSky.Sigma * scale, hfr.Value.Value, 0.02 * hfr.Value.Value);
        Assert.Equal(field.MedianFwhm.Value * scale, fwhm.Value.Value, 1e-12);
        Assert.Equal(540, fwhm.WavelengthNm);

        // Nominal data: 1 % of the size, in all frames alike, in quadrature with the median's own.
        Assert.Equal(field.MedianFwhm.Uncertainty * scale, fwhm.RandomPart, 1e-12);
        Assert.Equal(0.01 * fwhm.Value.Value, fwhm.CommonPart, 1e-12);
        Assert.Equal(double.Hypot(fwhm.RandomPart, fwhm.CommonPart), fwhm.Value.Uncertainty, 1e-12);
    }

    [Fact]
    public void A_scale_from_the_sky_goes_first_and_has_no_common_part()
    {
        Quantity hfr = Field(new StarRequest { FocalLengthMm = 760, PixelScaleArcsecPerPx = 1.5 }).Quantities.Single(q => q.Name == "star_hfr");
        Assert.Equal(1.1774 * TestSky.Sigma * 1.5, hfr.Value.Value, 0.02 * hfr.Value.Value);
        Assert.Equal(0, hfr.CommonPart);
        Assert.Equal(hfr.RandomPart, hfr.Value.Uncertainty);
    }

    [Fact]
    public void Without_a_scale_only_numbers_without_unit_are_given()
    {
        StarField field = Field(new StarRequest());
        Assert.True(double.IsNaN(field.PixelScaleArcsecPerPx));
        Assert.Equal(["star_ellipticity"], field.Quantities.Select(q => q.Name));
    }

    private static ZoneSummary Zone(string name, int stars, double hfr, double u) =>
        new(name, stars, new Measured(hfr, u, "pix"), Measured.None("pix"), Measured.None(""), Measured.None(""));

    [Fact]
    public void Edge_over_center_needs_ten_stars_in_both()
    {
        StarField field = Field(new StarRequest()) with { Zones = [Zone("center", 10, 2, 0.02), Zone("edge", 10, 3, 0.06)] };
        // 3/2; relative variances 0.01^2 + 0.02^2.
        Quantity ratio = field.Quantities.Single(q => q.Name == "corner_ratio");
        Assert.Equal(1.5, ratio.Value.Value, 12);
        Assert.Equal(1.5 * Math.Sqrt(5e-4), ratio.Value.Uncertainty, 12);
        StarField few = field with { Zones = [Zone("center", 9, 2, 0.02), Zone("edge", 10, 3, 0.06)] };
        Assert.DoesNotContain(few.Quantities, q => q.Name == "corner_ratio");
    }

    [Fact]
    public void Few_clean_stars_say_nothing_and_doubts_go_along()
    {
        StarField field = Field(new StarRequest { PixelScaleArcsecPerPx = 1 });
        Assert.Empty((field with { CleanStars = 9 }).Quantities);
        StarField doubted = field with { Notes = [new Note("x", NoteLevel.Doubt, "", "Trailed."), new Note("y", NoteLevel.Caution, "", "Bright sky.")] };
        Assert.All(doubted.Quantities, q => Assert.Equal(["Trailed."], q.Doubts));
        Assert.All(field.Quantities, q => Assert.Empty(q.Doubts));
    }

    [Fact]
    public void An_impossible_scale_is_refused_by_its_name() =>
        Assert.Contains("focal_length_mm", Assert.Throws<InputException>(() => Field(new StarRequest { FocalLengthMm = -1 })).Message, StringComparison.Ordinal);
}
