using StarAssay.Engine.Decisions;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Measurements.Wavefront;

/// <summary>Truth: quadrature of the budget's lines; which of them average follows from what they are.</summary>
public class WavefrontFiguresTests
{
    private static readonly WavefrontBudgetLine Photons = new(3, 3, 0.003) { Source = "photons", Kind = "A", Averages = true };
    private static readonly WavefrontBudgetLine Air = new(4, 4, 0.004) { Source = "turbulence", Kind = "B", Averages = true };
    private static readonly WavefrontBudgetLine Scale = new(12, 12, 0.012) { Source = "image scale", Kind = "B", Averages = false };
    private static readonly WavefrontBudgetLine Scatter = new(2, double.NaN, double.NaN)
    {
        Source = "scatter of the pairs (for comparison)",
        Kind = "A",
        Averages = true
    };
    private static readonly WavefrontBudgetLine Tube = new(double.NaN, double.NaN, double.NaN) { Source = "tube not cooled", Kind = "B", Averages = false };

    private static FittedImage Image(string name) => new(name, 0, 0, 1, new float[1, 1], new float[1, 1], new float[1, 1], new bool[1, 1],
        Measured.None("um"), 0, Measured.None("electron"), Measured.None("electron"));

    private static WavefrontFit Fit(int pairs, params WavefrontBudgetLine[] budget) => new()
    {
        Noll = [5, 6, 7, 8, 11],
        Osa = [3, 5, 7, 8, 12],
        Mode = ["", "", "", "", ""],
        CoefficientNm = [6, 8, 0, 10, 20],
        UncertaintyNm = [1, 1, 1, 1, 2],
        FitUncertaintyNm = [0.3, 0.3, 0.3, 0.3, 0.3],
        RandomUncertaintyNm = [0.5, 0.5, 0.5, 0.6, 0.7],
        PhotonUncertaintyNm = [0.2, 0.2, 0.2, 0.2, 0.2],
        CovarianceNm2 = new double[5, 5],
        Words = [],
        Rms = new Measured(25, 13, "nm"),
        Pv = new Measured(120, 9, "nm"),
        PvBiasNm = 0,
        Strehl = new Measured(0.92, 0.013, ""),
        StrehlFromRms = 0.92,
        MapNm = new double[1, 1],
        MapOpen = new double[1, 1],
        MapUncertaintyNm = new double[1, 1],
        WavelengthNm = 540,
        FocalRatio = 7,
        Seeing = [new Measured(2.0, 0.03, "arcsec"), new Measured(2.4, 0.04, "arcsec")],
        Images = [.. Enumerable.Range(0, 2 * pairs).Select(i => Image($"f{i}"))],
        ChiSquared = 1,
        Points = 1000,
        Iterations = 5,
        MapErrorNm = 1,
        Budget = budget,
        Decided = true,
        Notes = [],
    };

    private static Quantity Of(WavefrontFit fit, string name) => fit.Quantities.Single(q => q.Name == name);

    /// <summary>The row "scatter (for comparison)" has no number for RMS and Strehl ratio: it made the random part NaN, so that two
    /// pairs could not say what would decide. Turbulence averages over pairs: 3, 4 and 12 give 5 random of 13.</summary>
    [Fact]
    public void Random_part_is_what_averages_whatever_rows_have_no_number()
    {
        WavefrontFit fit = Fit(2, Photons, Air, Scale, Tube, Scatter);
        Assert.Equal(5, Of(fit, "wavefront_rms").RandomPart, 12);
        Assert.Equal(12, Of(fit, "wavefront_rms").CommonPart, 12);
        Assert.Equal(0.005, Of(fit, "strehl").RandomPart, 12);
        Assert.Equal(2, Of(fit, "strehl").Count);
        Decision d = Judgment.Of(new Claim { Name = "Strehl", Lower = 0.90 }, WavefrontQuantities.Strehl, fit);
        Assert.Equal(Verdict.NotDecided, d.Verdict);

        // 0.02 from the limit allows u = 0.01216; the shared 0.012 leaves 3.84e-6 of its square for 2 x 0.005^2 / n: n = 13.02.
        Assert.Equal(14, d.CountNeeded);
        Assert.Contains("About 14 pairs", d.NextTest, StringComparison.Ordinal);
    }

    [Fact]
    public void What_scattering_pairs_add_is_random()
    {
        WavefrontFit fit = Fit(2, Photons, Scale, Scatter) with { Widened = true, Rms = new Measured(25, 20, "nm") };
        Assert.Equal(16, Of(fit, "wavefront_rms").RandomPart, 12);
    }

    [Fact]
    public void No_line_that_averages_leaves_the_random_part_open()
    {
        Assert.True(double.IsNaN(Of(Fit(1, Scale), "strehl").RandomPart));
        Assert.True(double.IsNaN(Of(Fit(1, Photons, Scale), "wavefront_pv").RandomPart));
    }

    /// <summary>Root sum squares: astigmatism 10, coma 10, spherical 20 nm; the photons' own noise alone taken off; the random part goes with each mode's
    /// weight.</summary>
    [Fact]
    public void Families_come_with_the_fit()
    {
        WavefrontFit fit = Fit(1, Photons);
        Assert.Equal(Math.Sqrt(100 - (2 * 0.04)), Of(fit, "astigmatism").Value.Value, 12);
        Assert.Equal(0.5, Of(fit, "astigmatism").RandomPart, 12);
        Assert.Equal(0.6, Of(fit, "coma").RandomPart, 12);
        Assert.Equal(Math.Sqrt(400 - 0.04), Of(fit, "spherical").Value.Value, 12);
        Assert.Equal("spherical", fit.Families[0].Name);
    }

    /// <summary>2.0 and 2.4 arcsec: mean 2.2, scatter 0.2 sqrt 2 = 0.283, more than their own 0.025: what one night's value is good to.</summary>
    [Fact]
    public void Seeing_is_as_uncertain_as_it_changes()
    {
        Quantity seeing = Of(Fit(1, Photons), "seeing");
        Assert.Equal(2.2, seeing.Value.Value, 12);
        Assert.Equal(0.2 * Math.Sqrt(2), seeing.Value.Uncertainty, 12);
        Assert.True(double.IsNaN(seeing.RandomPart));
        Assert.DoesNotContain((Fit(1, Photons) with { Seeing = [Measured.None("arcsec")] }).Quantities, q => q.Name == "seeing");
    }
}
