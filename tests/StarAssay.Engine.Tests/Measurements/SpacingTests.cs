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
    public void What_does_not_fit_together_is_refused()
    {
        Assert.Equal("distances", Assert.Throws<InputException>(() => Measure([55, 55], [1, 2], 1)).Argument);
        Assert.Throws<InputException>(() => Measure([54, 55], [1, 2, 3], 1));
        Assert.Throws<InputException>(() => Measure([54, 55], [1, 2], 0));
        Assert.Throws<InputException>(() => Measure([54, double.NaN], [1, 2], 1));
    }

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
