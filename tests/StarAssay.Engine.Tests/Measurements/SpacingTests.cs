using StarAssay.Engine.Measurements.Spacing;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Measurements;

/// <summary>Truth: closed forms of lines and parabolas.</summary>
public class SpacingTests
{
    [Fact]
    public void The_root_of_a_line_with_its_bar()
    {
        // Unit-free textbook forms: sigma(a) = s / sqrt(n), sigma(b) = s / sqrt(sum x^2) with x from the mean.
        SpacingResult found = Measure([54, 55, 56], [.. new double[] { 54, 55, 56 }.Select(d => 25 * (d - 55.8))], 2);
        double first = Math.Sqrt((4.0 / 3) + (0.8 * 0.8 * 4 / 2)) / 25, share = 4.0 / 2 / (25 * 25);
        Assert.Equal(55.8, found.BestSpacing.Value, 1e-9);
        Assert.Equal(first / Math.Sqrt(1 - share), found.BestSpacing.Uncertainty, 1e-9);
        Assert.Equal(25, found.SagSlope.Value, 1e-9);
        Assert.Equal(Math.Sqrt(2), found.SagSlope.Uncertainty, 1e-9);
        Assert.Equal(0, found.SagBend.Value, 1e-9);
        Assert.Equal(0, found.ReducedChiSquared, 1e-9);
        Assert.True(found.Decided);

        // The last run is the present one: 0.2 mm have to go; from 54 mm 1.8 mm have to be added.
        Assert.Equal(-0.2, found.SpacingChange.Value, 1e-9);
        SpacingResult before = SpacingMeasurement.Measure(Request([54, 55, 56], [-45, -20, 5], 2) with { PresentDistanceMm = 54 }, new RunContext());
        Assert.Equal(1.8, before.SpacingChange.Value, 1e-9);
        Assert.Equal(-45, before.PresentSag.Value, 1e-9);

        // 2 x 0.55 um x 36 = 39.6 um of focus are 1.584 mm at 25 um a mm; a sag of 45 um is a disc of 7.5 um at f/6.
        Assert.Equal(39.6 / 25, found.ToleranceMm, 1e-9);
        Assert.Equal(Math.Abs(found.CurveSagUm[0]) / 6, found.CornerBlurUm[0], 1e-12);
        Assert.Equal(["best_spacing", "spacing_change"], found.Quantities.Select(q => q.Name));
        Assert.All(found.Quantities, q => Assert.Empty(q.Doubts));
    }

    [Fact]
    public void Unsure_distances_count_by_the_slope()
    {
        SpacingResult found = SpacingMeasurement.Measure(
            Request([54, 55, 56], [-25, 0, 25], 3) with { DistanceUncertaintyMm = 0.16 }, new RunContext());

        // 25 x 0.16 = 4, beside 3: 5 um each.
        Assert.All(found.SagUncertaintiesUm, s => Assert.Equal(5, s, 1e-9));
        Assert.Equal(5 / Math.Sqrt(3) / 25 / Math.Sqrt(1 - (25.0 / 2 / 625)), found.BestSpacing.Uncertainty, 1e-9);
        Assert.Equal(Math.Sqrt(Math.Pow(found.BestSpacing.Uncertainty, 2) + (0.16 * 0.16)), found.SpacingChange.Uncertainty, 1e-9);
    }

    [Fact]
    public void A_bend_is_seen_and_followed()
    {
        double[] distance = [53, 54, 55, 56, 57];
        double[] sag = [.. distance.Select(d => (20 * (d - 55)) + (3 * (d - 55) * (d - 55)) - 10)];
        SpacingResult found = Measure(distance, sag, 0.5);
        Assert.False(found.Straight);
        Assert.Equal(3, found.SagBend.Value, 1e-6);
        Assert.Equal(55 + ((-20 + Math.Sqrt(400 + 120)) / 6), found.BestSpacing.Value, 1e-9);
        Assert.Equal(Math.Sqrt(400 + 120), found.SagSlope.Value, 1e-6);
        Assert.Contains(found.Notes, n => n.Code == SpacingNotes.NotStraight.Code);

        // Turned over and mirrored it is the same distance from the middle.
        SpacingResult turned = Measure([.. distance.Select(d => 110 - d)], [.. sag.Select(s => -s)], 0.5);
        Assert.Equal(110 - found.BestSpacing.Value, turned.BestSpacing.Value, 1e-9);
        Assert.Equal(found.BestSpacing.Uncertainty, turned.BestSpacing.Uncertainty, 1e-9);

        // A bowl that never gets flat has no best distance.
        SpacingResult never = Measure(distance, [.. distance.Select(d => 40 + (5 * (d - 55) * (d - 55)))], 0.5);
        Assert.False(never.Decided);
        Assert.Empty(never.Quantities);
    }

    [Fact]
    public void Scatter_widens_the_bar()
    {
        double[] distance = [53, 54, 55, 56, 57];
        SpacingResult still = Measure(distance, [-40, -20, 0, 20, 40], 2);
        SpacingResult loose = Measure(distance, [-40 + 4, -20 - 8, 0, 20 + 8, 40 - 4], 2);

        // (1, -2, 0, 2, -1) is orthogonal to line and parabola on five even steps: chi squared = 4 (1 + 4 + 4 + 1) over 3 degrees of freedom.
        Assert.Equal(40.0 / 3, loose.ReducedChiSquared, 1e-9);
        Assert.Equal(55, loose.BestSpacing.Value, 1e-9);
        Assert.Equal(Math.Sqrt(40.0 / 3) * still.SagSlope.Uncertainty, loose.SagSlope.Uncertainty, 1e-9);
        Assert.Contains(loose.Notes, n => n.Code == SpacingNotes.Scatter.Code);
        Assert.DoesNotContain(still.Notes, n => n.Code == SpacingNotes.Scatter.Code);
    }

    [Fact]
    public void What_is_not_told_is_not_decided()
    {
        SpacingResult flat = Measure([54, 55, 56], [11, 10, 12], 3);
        Assert.False(flat.Decided);
        Assert.True(double.IsNaN(flat.BestSpacing.Value) && double.IsNaN(flat.SpacingChange.Value));
        Assert.Empty(flat.Quantities);
        Assert.Contains(flat.Notes, n => n.Code == SpacingNotes.NotTold.Code && n.Level == NoteLevel.Doubt);

        // The line vanishes at 58.5 mm, 2.5 mm beyond a span of 2 mm: the direction is told, no more.
        SpacingResult far = Measure([54, 55, 56], [-90, -70, -50], 2);
        Assert.False(far.Decided);
        Assert.Equal(58.5, far.BestSpacing.Value, 1e-9);
        Assert.All(far.Quantities, q => Assert.Single(q.Doubts));
        Assert.Contains(far.Notes, n => n.Code == SpacingNotes.FarOutside.Code && n.Text.Contains("larger", StringComparison.Ordinal));

        // 0.5 mm beyond them is near enough, with a caution.
        SpacingResult near = Measure([54, 55, 56], [-50, -30, -10], 2);
        Assert.True(near.Decided);
        Assert.Contains(near.Notes, n => n.Code == SpacingNotes.Extrapolated.Code);
        Assert.Contains(Measure([54, 56], [-20, 20], 2).Notes, n => n.Code == SpacingNotes.TwoDistances.Code);
    }

    [Fact]
    public void One_distance_with_a_known_slope()
    {
        // sag / slope, and u^2 = (u(sag)^2 + (u(slope) change)^2) / slope^2, widened as Fieller's interval: 30 / 10 = 3 mm, 4-sigma slope or better.
        SpacingRequest request = Request([55], [-30], 4) with { KnownSlope = 10, KnownSlopeUncertainty = 1, DistanceUncertaintyMm = 0.05 };
        SpacingResult found = SpacingMeasurement.Measure(request, new RunContext());
        Assert.Equal(3, found.SpacingChange.Value, 1e-12);
        Assert.Equal(Math.Sqrt(16 + 9) / 10 / Math.Sqrt(1 - 0.01), found.SpacingChange.Uncertainty, 1e-12);
        Assert.Equal(58, found.BestSpacing.Value, 1e-12);
        Assert.Equal(SpacingDirection.TooNear, found.Direction);
        Assert.True(found.Decided);
        Assert.All(found.Quantities, q => Assert.Empty(q.Doubts));
        Assert.Equal(0, found.CurveSagUm.Zip(found.CurveDistanceMm, (s, d) => s - (10 * (d - 58))).Max(Math.Abs), 1e-9);

        // The same slope told at half the height is four times as steep at the corner; turned over, it is too far.
        SpacingRequest inner = request with { KnownSlope = -2.5, KnownSlopeUncertainty = 0.25, KnownHeightMm = 10, CornerHeightMm = 20 };
        SpacingResult high = SpacingMeasurement.Measure(inner, new RunContext());
        Assert.Equal(-3, high.SpacingChange.Value, 1e-12);
        Assert.Equal(found.SpacingChange.Uncertainty, high.SpacingChange.Uncertainty, 1e-12);
        Assert.Equal(SpacingDirection.TooFar, high.Direction);

        // From 57 mm 1 mm is left to add.
        Assert.Equal(1, SpacingMeasurement.Measure(request with { PresentDistanceMm = 57 }, new RunContext()).SpacingChange.Value, 1e-12);

        // 6 mm away is the direction alone.
        SpacingResult far = SpacingMeasurement.Measure(request with { SagsUm = [60] }, new RunContext());
        Assert.False(far.Decided);
        Assert.Equal(SpacingDirection.TooFar, far.Direction);
        Assert.All(far.Quantities, q => Assert.Single(q.Doubts));
    }

    [Theory]
    [InlineData(1.64, double.NaN, SpacingDirection.NotDecided)]
    [InlineData(1.65, double.NaN, SpacingDirection.TooNear)]

    // Student's t for 95 %, one-sided: 2.132 with 4 degrees of freedom (tables).
    [InlineData(2.12, 4, SpacingDirection.NotDecided)]
    [InlineData(2.14, 4, SpacingDirection.TooNear)]
    public void A_direction_stands_out_by_the_accepted_risk(double sigmas, double freedom, SpacingDirection expected)
    {
        SpacingRequest request = Request([55], [-5 * sigmas], 5) with { TooNear = CornerFocus.Inward, DegreesOfFreedom = freedom };
        SpacingResult found = SpacingMeasurement.Measure(request, new RunContext());
        Assert.Equal(expected, found.Direction);
        Assert.False(found.Decided);
        Assert.Empty(found.Quantities);
        SpacingDirection other = expected == SpacingDirection.TooNear ? SpacingDirection.TooFar : expected;
        Assert.Equal(other, SpacingMeasurement.Measure(request with { TooNear = CornerFocus.Outward }, new RunContext()).Direction);
        Assert.Equal(other, SpacingMeasurement.Measure(request with { SagsUm = [5 * sigmas] }, new RunContext()).Direction);
        Assert.Equal(SpacingDirection.NotDecided, SpacingMeasurement.Measure(request with { Doubtful = true }, new RunContext()).Direction);
    }

    [Fact]
    public void One_distance_alone_decides_nothing()
    {
        SpacingRequest request = Request([55], [-50], 2);
        SpacingResult found = SpacingMeasurement.Measure(request, new RunContext());
        Assert.Equal(SpacingDirection.NotDecided, found.Direction);
        Assert.Contains(found.Notes, n => n.Code == SpacingNotes.CorrectorUnknown.Code && n.Text.Contains("changed by 3 mm", StringComparison.Ordinal));
        Assert.Empty(found.CurveSagUm);

        // A slope that is hardly known carries a direction while it carries a sign, never a number.
        SpacingRequest loose = request with { KnownSlope = 10, KnownSlopeUncertainty = 4 };
        Assert.Equal(SpacingDirection.TooNear, SpacingMeasurement.Measure(loose, new RunContext()).Direction);
        Assert.True(double.IsNaN(SpacingMeasurement.Measure(loose, new RunContext()).BestSpacing.Value));
        Assert.Equal(SpacingDirection.NotDecided, SpacingMeasurement.Measure(loose with { KnownSlopeUncertainty = 7 }, new RunContext()).Direction);

        // Sag and split of opposite sign are not a wrong distance alone; of one sign, or unclear, the sag decides.
        SpacingRequest known = request with { KnownSlope = 20, SplitUncertaintyUm = 10 };
        SpacingResult against = SpacingMeasurement.Measure(known with { SplitUm = 40 }, new RunContext());
        Assert.Equal(SpacingDirection.NotDecided, against.Direction);
        Assert.False(against.Decided);
        Assert.All(against.Quantities, q => Assert.NotEmpty(q.Doubts));
        Assert.Equal(SpacingDirection.TooNear, SpacingMeasurement.Measure(known with { SplitUm = -40 }, new RunContext()).Direction);
        SpacingResult unclear = SpacingMeasurement.Measure(known with { SplitUm = 10 }, new RunContext());
        Assert.Equal(SpacingDirection.TooNear, unclear.Direction);

        // Both change alike with the distance: a split of 10 um at a sag of -50 um is one of 60 um at none, above the depth of focus of 40 um.
        Assert.Contains(unclear.Notes, n => n.Code == SpacingNotes.AstigmatismLeft.Code && n.Text.Contains("+60 ± 10 um", StringComparison.Ordinal));
    }

    [Fact]
    public void Several_distances_say_the_direction_and_believe_the_runs()
    {
        SpacingRequest request = Request([54, 55, 56], [-45, -20, 5], 2);
        // Told to 0.1 mm or so, the last run is 0.2 mm too far.
        Assert.Equal(SpacingDirection.TooFar, SpacingMeasurement.Measure(request, new RunContext()).Direction);
        SpacingResult near = SpacingMeasurement.Measure(request with { PresentDistanceMm = 54, KnownSlope = 5 }, new RunContext());
        Assert.Equal(SpacingDirection.TooNear, near.Direction);
        Assert.Equal(1.8, near.SpacingChange.Value, 1e-9);
        Assert.Contains(near.Notes, n => n.Code == SpacingNotes.SlopeDiffers.Code);
        SpacingResult agreed = SpacingMeasurement.Measure(request with { PresentDistanceMm = 57, KnownSlope = 25 }, new RunContext());
        Assert.Equal(SpacingDirection.TooFar, agreed.Direction);
        Assert.DoesNotContain(agreed.Notes, n => n.Code == SpacingNotes.SlopeDiffers.Code);
    }

    [Fact]
    public void What_does_not_fit_together_is_refused()
    {
        SpacingRequest one = Request([55], [-30], 4);
        Assert.Equal("present_distance", Refused(one with { PresentDistanceMm = 56 }));
        Assert.Equal("known_height", Refused(one with { KnownSlope = 5, KnownHeightMm = 10 }));
        Assert.Equal("too_near", Refused(one with { KnownSlope = -5, TooNear = CornerFocus.Inward }));
        Assert.Equal("too_near", Refused(one with { KnownSlope = 5, TooNear = CornerFocus.Outward }));
        Assert.Equal("distances", Assert.Throws<InputException>(() => Measure([55, 55], [1, 2], 1)).Argument);
        Assert.Throws<InputException>(() => Measure([54, 55], [1, 2, 3], 1));
        Assert.Throws<InputException>(() => Measure([54, 55], [1, 2], 0));
        Assert.Throws<InputException>(() => Measure([54, double.NaN], [1, 2], 1));
    }

    private static string? Refused(SpacingRequest request) =>
        Assert.Throws<InputException>(() => SpacingMeasurement.Measure(request, new RunContext())).Argument;

    private static SpacingResult Measure(double[] distance, double[] sag, double sigma) =>
        SpacingMeasurement.Measure(Request(distance, sag, sigma), new RunContext());

    private static SpacingRequest Request(double[] distance, double[] sag, double sigma) => new()
    {
        DistancesMm = distance,
        SagsUm = sag,
        SagUncertaintiesUm = [.. sag.Select(_ => sigma)],
        DistanceUncertaintyMm = 0,
        FocalRatio = 6,
    };
}
