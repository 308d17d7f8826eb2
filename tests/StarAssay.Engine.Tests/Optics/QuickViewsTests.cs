using StarAssay.Engine.Optics;
using StarAssay.Engine.Optics.Views;
using StarAssay.Engine.Results;
using Xunit;

namespace StarAssay.Engine.Tests.Optics;

/// <summary>The pictures of a slider against those drawn one by one in double precision, and against published values.</summary>
public class QuickViewsTests
{
    private const double LambdaN = 0.55 * 7;

    private static PupilMap Map(double obstruction, params (int Noll, double Nm)[] terms) => PupilMap.FromZernike(new PupilShape { Obstruction = obstruction },
        [.. terms.Select(t => ZernikeIndex.FromNoll(t.Noll))], [.. terms.Select(t => t.Nm)], 7, 550, 96);

    private static PupilMap Aberrated => Map(0.3, (8, 60), (11, -30), (5, 25));

    [Fact]
    public void Stars_are_those_of_the_exact_transform()
    {
        PupilMap map = Aberrated;
        QuickViewsResult quick = QuickViews.Draw(new QuickViewsRequest(map), RunContext.Default);
        double shift = 8 * 49 * 3 * 0.55;
        (float[] Picture, double Half, double ShiftUm)[] all =
            [(quick.Focused, 5, 0), (quick.Inside, quick.PairHalfWidthLambdaN, -shift), (quick.Outside, quick.PairHalfWidthLambdaN, shift)];
        foreach ((float[] picture, double half, double at) in all)
        {
            double[,] exact = FocusedImages.Draw(new FocusedImageRequest(map, half, quick.Points, at), RunContext.Default).Intensity;
            double largest = exact.Cast<double>().Max();

            // Single precision, sums of some thousand terms.
            Assert.All(Enumerable.Range(0, picture.Length),
                k => Assert.Equal(exact[k / quick.Points, k % quick.Points], picture[k], 2e-5 * largest));
        }
    }

    [Fact]
    public void Contrast_and_light_are_those_of_the_exact_curves()
    {
        PupilMap map = Aberrated;
        QuickViewsResult quick = QuickViews.Draw(new QuickViewsRequest(map), RunContext.Default);
        Modulation exact = Modulations.Compute(map, quick.RadiusLambdaN.Length, quick.RadiusLambdaN[^1]);
        Assert.All(Enumerable.Range(0, exact.Frequency.Length), k =>
        {
            Assert.Equal(exact.HorizontalMtf[k], quick.HorizontalMtf[k], 1e-5);
            Assert.Equal(exact.VerticalMtf[k], quick.VerticalMtf[k], 1e-5);
        });

        // Samples an eighth of lambda N apart stand for the light within small circles.
        Assert.All(Enumerable.Range(0, exact.RadiusLambdaN.Length), k => Assert.Equal(exact.EncircledEnergy[k], quick.EncircledEnergy[k], 0.004));
    }

    [Fact]
    public void Shadows_are_those_of_the_exact_views_but_for_light_far_out()
    {
        PupilMap map = Aberrated;
        QuickViewsResult quick = QuickViews.Draw(new QuickViewsRequest(map), RunContext.Default);
        double[,] ruling = ShadowTests.Draw(new ShadowRequest(map, Mask.Ruling, 8 * 49 * 2 * 0.55, 4 * LambdaN)).Brightness;
        double[,] knife = ShadowTests.Draw(new ShadowRequest(map, Mask.Knife)).Brightness;

        // What passes beyond 16 lambda N is lost: fine ripples and the rim's brightness. Brightness 1 is the bare pupil's.
        Assert.InRange(MeanDifference(ruling, quick.Ronchigram), 0, 0.03);
        Assert.InRange(MeanDifference(knife, quick.KnifeEdge), 0, 0.02);
    }

    private static double MeanDifference(double[,] exact, float[] quick)
    {
        int n = exact.GetLength(0);
        return Enumerable.Range(0, quick.Length).Average(k => Math.Abs(exact[k / n, k % n] - quick[k]));
    }

    /// <summary>Strehl ratios of a clear pupil: closed forms and exact pupil integrals (Mahajan 1982, J. Opt. Soc. Am. 72, 1258).</summary>
    [Theory]
    [InlineData(4, 0.072169, 0.810569)]
    [InlineData(11, 0.074536, 0.800305)]
    [InlineData(6, 0.051031, 0.902064)]
    public void Quarter_waves_have_their_published_Strehl_ratios(int noll, double rmsWaves, double strehl)
    {
        QuickViewsResult quick = QuickViews.Draw(new QuickViewsRequest(Map(0, (noll, rmsWaves * 550))), RunContext.Default);

        // 96 samples across draw the rim in steps.
        Assert.Equal(strehl, quick.StrehlRatio, 0.002);
        Assert.Equal(rmsWaves, quick.RmsNm / 550, 0.0006);
    }

    /// <summary>MTF and encircled energy of a clear perfect pupil (Born and Wolf, ch. 8.5 and 9; closed forms).</summary>
    [Fact]
    public void A_perfect_pupil_has_the_closed_forms()
    {
        QuickViewsResult quick = QuickViews.Draw(new QuickViewsRequest(Map(0)), RunContext.Default);
        for (int k = 0; k < quick.Frequency.Length; k++)
        {
            double v = quick.Frequency[k], mtf = 2 / Math.PI * (Math.Acos(v) - (v * Math.Sqrt(1 - (v * v))));
            Assert.Equal(mtf, quick.PerfectMtf[k], 0.004);
        }

        int one = Array.FindIndex(quick.RadiusLambdaN, r => r >= 1 - 1e-9), five = Array.FindIndex(quick.RadiusLambdaN, r => r >= 5 - 1e-9);
        Assert.Equal(0.826431, quick.PerfectEnergy[one], 0.004);
        Assert.Equal(0.960740, quick.PerfectEnergy[five], 0.004);
    }

    [Fact]
    public void Threads_do_not_show()
    {
        QuickViewsResult one = QuickViews.Draw(new QuickViewsRequest(Aberrated), new RunContext(1)), two = QuickViews.Draw(new QuickViewsRequest(Aberrated),
            new RunContext(2));
        Assert.Equal(one.Focused, two.Focused);
        Assert.Equal(one.KnifeEdge, two.KnifeEdge);
        Assert.Equal(one.EncircledEnergy, two.EncircledEnergy);
    }

    [Fact]
    public void A_pupil_without_an_opening_is_refused()
    {
        double[,] shut = new double[32, 32];
        foreach (int k in Enumerable.Range(0, 32 * 32))
        {
            shut[k / 32, k % 32] = double.NaN;
        }

        var map = new PupilMap { WavefrontNm = shut, FocalRatio = 7, WavelengthNm = 550 };
        Assert.Contains("open", Assert.Throws<InputException>(() => QuickViews.Draw(new QuickViewsRequest(map), RunContext.Default)).Message,
            StringComparison.Ordinal);
    }

    /// <summary>Widths of a perfect telescope through the air; the engine's own form of Tokovinin's numbers for it stands beside.</summary>
    [Theory]
    [InlineData(60, 2)]
    [InlineData(115, 1)]
    [InlineData(115, 3)]
    [InlineData(200, 2)]
    public void Seeing_makes_a_star_as_wide_as_the_combined_transfer_says(double aperture, double seeing)
    {
        SeeingViewResult drawn = SeeingViews.Draw(new SeeingViewRequest(Map(0, (8, 30)), aperture, seeing), RunContext.Default);
        double unit = 550e-6 / aperture * 206264.806;
        Assert.Equal(Seeing.CombinedFwhm(drawn.ApertureOverR0) * drawn.ApertureOverR0 * unit, drawn.PerfectFwhmArcsec, 0.02 * drawn.PerfectFwhmArcsec);
        Assert.True(drawn.FwhmArcsec > drawn.PerfectFwhmArcsec);
    }

    /// <summary>Without air the width is the Airy pattern's, 1.02899 lambda/D (Born and Wolf, ch. 8.5).</summary>
    [Fact]
    public void Without_air_the_star_is_Airys()
    {
        SeeingViewResult drawn = SeeingViews.Draw(new SeeingViewRequest(Map(0), 100, 0), RunContext.Default);
        Assert.Equal(1.02899 * 550e-6 / 100 * 206264.806, drawn.PerfectFwhmArcsec, 0.02 * drawn.PerfectFwhmArcsec);
    }
}
