using StarAssay.Engine.Decisions;
using StarAssay.Engine.Measurements.ColorFocus;
using StarAssay.Engine.Measurements.Wavefront;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Decisions;

/// <summary>Truth: the guard band of 1.645 u at 5 % risk, and what must be said when nothing may be decided.</summary>
public class JudgmentTests
{
    private static readonly Claim Strehl = new() { Name = "Strehl", Lower = 0.95 };

    private static Quantity Measured(double value, double u, double wavelengthNm = 540) =>
        WavefrontQuantities.Strehl.Of(new Measured(value, u, ""), 0.5 * u, wavelengthNm) with { Counted = "pairs" };

    private static Decision Judge(Quantity? q, double wavelengthNm = double.NaN, params string[] doubts) =>
        Judgment.Of(new JudgmentRequest { Claim = Strehl, Quantity = "strehl", Measured = q is null ? [] : [q], WavelengthNm = wavelengthNm, Doubts = doubts });

    [Fact]
    public void A_quantity_decides_with_its_own_uncertainty()
    {
        Assert.Equal(Verdict.Met, Judge(Measured(0.967, 0.01)).Verdict);
        Assert.Equal(Verdict.NotDecided, Judge(Measured(0.966, 0.01)).Verdict);
        Assert.Equal(Verdict.NotMet, Judge(Measured(0.93, 0.01)).Verdict);
    }

    [Fact]
    public void A_missing_quantity_names_its_test() => Assert.Equal(WavefrontQuantities.Strehl.Missing, Judge(null).NextTest);

    /// <summary>2 %: 540 nm against 550.9 (1.98 %) is one wavelength, against 551.1 (2.01 %) another.</summary>
    [Fact]
    public void Another_wavelength_decides_nothing_and_names_the_one_to_measure_at()
    {
        Assert.Equal(Verdict.Met, Judge(Measured(0.98, 0.01), 550.9).Verdict);
        Decision d = Judge(Measured(0.98, 0.01), 551.1);
        Assert.Equal(Verdict.NotDecided, d.Verdict);
        Assert.StartsWith("Measured at 540 nm, but stated at 551.1 nm", d.Reason, StringComparison.Ordinal);
        Assert.Equal("Measure at 551.1 nm.", d.NextTest);
        Assert.Equal(Verdict.Met, Judge(Measured(0.98, 0.01, double.NaN), 656).Verdict);
    }

    [Fact]
    public void Doubts_of_quantity_and_caller_forbid_a_decision()
    {
        Decision d = Judge(Measured(0.98, 0.01) with { Doubts = ["One side of focus."] }, double.NaN, "Binned twice.");
        Assert.Equal(Verdict.NotDecided, d.Verdict);
        Assert.Equal(["One side of focus.", "Binned twice."], d.Notes.Select(n => n.Text));
        Assert.Equal("Take the frames again as the doubt advises.", d.NextTest);
    }

    [Fact]
    public void A_claim_in_another_unit_needs_its_factor()
    {
        Quantity rms = WavefrontQuantities.Rms.Of(new Measured(30, 2, "nm"));
        var claim = new Claim { Name = "RMS", Upper = 0.035, Unit = "um" };
        var request = new JudgmentRequest { Claim = claim, Quantity = "wavefront_rms", Measured = [rms] };
        Assert.Throws<InputException>(() => Judgment.Of(request));
        Decision d = Judgment.Of(request with { UnitFactor = 0.001 });
        Assert.Equal(Verdict.Met, d.Verdict);
        Assert.Equal(0.030, d.Result.Value, 12);
        Assert.Equal(0.002, d.Result.Uncertainty, 12);
    }

    [Fact]
    public void An_unknown_quantity_is_refused_with_the_known_ones() =>
        Assert.Contains("wavefront_rms",
            Assert.Throws<InputException>(() => Judgment.Of(new JudgmentRequest { Claim = Strehl, Quantity = "sharpness" })).Message, StringComparison.Ordinal);

    /// <summary>All of the light in focus in every replicate: 1 with no spread. It could never be met and named no next step.</summary>
    [Fact]
    public void A_value_without_spread_is_judged_by_its_one_sided_bound()
    {
        Quantity all = ColorFocusQuantities.InFocusFraction.Of(new Measured(1, 0, "")) with { MayBeLess = 0.004, Counted = "spectra" };
        Decision Against(double limit) =>
            Judgment.Of(new JudgmentRequest { Claim = new Claim { Name = "in focus", Lower = limit }, Quantity = "in_focus_fraction", Measured = [all] });
        Assert.Equal(Verdict.Met, Against(0.95).Verdict);
        Assert.Equal(Verdict.Met, Against(0.996).Verdict);
        Decision near = Against(0.997);
        Assert.Equal(Verdict.NotDecided, near.Verdict);
        Assert.Contains("More spectra will not decide it", near.NextTest, StringComparison.Ordinal);

        // Without bound and uncertainty nothing is decided, and what to do is said.
        Decision bare = Judgment.Of(new JudgmentRequest { Claim = Strehl, Quantity = "in_focus_fraction", Measured = [all with { MayBeLess = 0 }] });
        Assert.Equal(Verdict.NotDecided, bare.Verdict);
        Assert.StartsWith("Take several spectra", bare.NextTest, StringComparison.Ordinal);
    }

    /// <summary>A bound beside the uncertainty counts at its worst: 0.98 - 0.01 - 1.645 x 0.01 = 0.9536 is met, with 0.02 it is not.</summary>
    [Fact]
    public void A_bound_adds_to_the_guard_band_on_its_side_only()
    {
        Assert.Equal(Verdict.Met, Judge(Measured(0.98, 0.01) with { MayBeLess = 0.01 }).Verdict);
        Decision d = Judge(Measured(0.98, 0.01) with { MayBeLess = 0.02 });
        Assert.Equal(Verdict.NotDecided, d.Verdict);
        Assert.Contains("between 84 % and 99.9 %", d.Reason, StringComparison.Ordinal);
        Assert.Equal(Verdict.NotMet, Judge(Measured(0.93, 0.01) with { MayBeLess = 0.02 }).Verdict);
        Assert.Equal(Verdict.NotDecided, Judge(Measured(0.93, 0.01) with { MayBeMore = 0.02 }).Verdict);
    }

    [Fact]
    public void Nobody_reads_that_the_telescope_is_kept()
    {
        Assert.Contains("the probability that the claim is met is", Judge(Measured(0.966, 0.01)).Reason, StringComparison.Ordinal);
        Decision need = Judgment.Of(new JudgmentRequest
        {
            Claim = Strehl with { Kind = ClaimKind.Requirement },
            Quantity = "strehl",
            Measured = [Measured(0.966, 0.01)]
        });
        Assert.Contains("the probability that the requirement is met is", need.Reason, StringComparison.Ordinal);
    }

    [Fact]
    public void What_rounds_to_zero_has_no_sign()
    {
        Decision d = Decision.Decide(new DecisionRequest { Claim = new Claim { Name = "x", Upper = 1 }, Value = -0.001, Uncertainty = 0.1 });
        Assert.StartsWith("0.00 ± 0.10", d.Reason, StringComparison.Ordinal);
    }
}
