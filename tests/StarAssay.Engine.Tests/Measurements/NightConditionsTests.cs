using MathNet.Numerics;
using MathNet.Numerics.RootFinding;
using StarAssay.Engine.Measurements.NightConditions;
using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Measurements;

/// <summary>Truth: widths, trails and places of focus put into star tables here.</summary>
public class NightConditionsTests
{
    private const int Stars = 40;
    private const double Scale = 0.8;

    [Fact]
    public void Width_is_brought_to_the_zenith_and_500_nm()
    {
        // Closed forms: airmass^0.6 (1.5 gives 1.27542, 2 gives 1.51572) and (656.3 / 500)^-0.2 = 0.94705, ESO's astroclimatology pages and Fried.
        NightConditionsRequest request = Night(9, _ => 3.0) with
        {
            Airmass = [1, 1.5, 2, 1, 1.5, 2, 1, 1.5, 2],
            WavelengthNm = 656.3,
        };
        NightConditionsResult found = NightConditionsMeasurement.Measure(request, new RunContext());
        double top = 3.0 / Math.Pow(656.3 / 500, -0.2);
        Assert.Equal(top, found.ReducedFwhmArcsec[0], 1e-3);
        Assert.Equal(top / 1.27542, found.ReducedFwhmArcsec[1], 1e-3);
        Assert.Equal(top / 1.51572, found.ReducedFwhmArcsec[2], 1e-3);
        Assert.Equal(3.0, found.BestFwhm.Value, 1e-3);
    }

    [Fact]
    public void Airmass_comes_from_the_altitude_where_it_is_not_given()
    {
        // Kasten and Young 1989 as printed: 1.9943 at 60 degrees from the zenith.
        NightConditionsRequest request = Night(4, _ => 3.0) with { AltitudeDeg = [30, 30, double.NaN, 30], Airmass = [double.NaN, 1.2, 1.2, double.NaN] };
        NightConditionsResult found = NightConditionsMeasurement.Measure(request, new RunContext());
        Assert.Equal(1.9943, found.Airmass[0], 1e-4);
        Assert.Equal([1.2, 1.2], found.Airmass[1..3]);
    }

    [Fact]
    public void Diffraction_is_taken_off_by_the_product_of_transfers()
    {
        // D / r0 = 2 makes a star 1.1218 lambda / r0 wide (product of both transfers, check by numerical Hankel transform), the air alone 0.975863 of it.
        double unit = 500e-9 / 0.1 * 2 * Seeing.ArcsecPerRadian;
        NightConditionsRequest request = Night(3, _ => 1.1218 * unit) with { ApertureMm = 100, WavelengthNm = 500 };
        NightConditionsResult found = NightConditionsMeasurement.Measure(request, new RunContext());
        Assert.All(found.ReducedFwhmArcsec, w => Assert.Equal(0.975863 * unit, w, 2e-3 * unit));

        // A star no wider than diffraction tells of no air, and it is said.
        double narrow = 1.029 * 500e-9 / 0.1 * Seeing.ArcsecPerRadian;
        NightConditionsResult sharp = NightConditionsMeasurement.Measure(Night(3, _ => narrow) with { ApertureMm = 100, WavelengthNm = 500 }, new RunContext());
        Assert.Contains(sharp.Notes, n => n.Code == NightConditionsNotes.NotResolved.Code);
    }

    [Fact]
    public void A_plain_rise_is_a_trend_and_still_air_is_none()
    {
        NightConditionsResult rising = NightConditionsMeasurement.Measure(Night(40, t => 2.5 * Math.Exp(0.08 * t)), new RunContext());
        Assert.Equal("rising", rising.TrendVerdict);
        double level = rising.ZenithFwhm.Value;
        Assert.Equal(0.08 * level, rising.Trend.Value, 3 * rising.Trend.Uncertainty);
        Assert.InRange(rising.Trend.Uncertainty, 1e-4, 0.03 * level);
        NightConditionsResult still = NightConditionsMeasurement.Measure(Night(40, _ => 2.5), new RunContext());
        Assert.Equal("not decided", still.TrendVerdict);
        Assert.True(Math.Abs(still.Trend.Value) < 0.02);
    }

    [Fact]
    public void Frames_that_wander_together_count_for_less()
    {
        // The same widths in another order: alike neighbors (AR(1), rho 0.95 a frame) against shuffled ones. With rho = exp(-dt / tau) n frames are worth
        // about n (1 - rho) / (1 + rho) for the mean (Wilks, Statistical Methods in the Atmospheric Sciences, ch. 5; from memory): 2 of 60.
        var random = new Random(5);
        double[] log = new double[60];
        for (int k = 0; k < log.Length; k++)
        {
            double normal = Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
            log[k] = k == 0 ? 0.15 * normal : (0.95 * log[k - 1]) + (0.15 * Math.Sqrt(1 - (0.95 * 0.95)) * normal);
        }

        double[] mixed = [.. log];
        random.Shuffle(mixed);
        NightConditionsResult slow = NightConditionsMeasurement.Measure(Night(60, (_, k) => 2.5 * Math.Exp(log[k])), new RunContext());
        NightConditionsResult quick = NightConditionsMeasurement.Measure(Night(60, (_, k) => 2.5 * Math.Exp(mixed[k])), new RunContext());
        Assert.InRange(slow.IndependentFrames, 1, 12);
        Assert.InRange(quick.IndependentFrames, 25, 60);
        Assert.True(slow.Trend.Uncertainty > 1.5 * quick.Trend.Uncertainty);
    }

    [Fact]
    public void A_trail_is_told_from_the_air()
    {
        NightConditionsRequest request = Night(20, _ => 2.5, trail: k => k is 7 or 12 ? 0.3 : 0);
        NightConditionsResult found = NightConditionsMeasurement.Measure(request, new RunContext());
        int[] trailed = [.. Enumerable.Range(0, 20).Where(k => (found.Flags[k] & (int)FrameMarks.Trailed) != 0)];
        Assert.Equal([7, 12], trailed);

        // b/a = 0.7: the geometric mean is 1/sqrt(0.7) of the axis across the trail, which is what the air did.
        Assert.Equal(2.5 / Math.Sqrt(0.7), found.FwhmArcsec[7], 0.02);
        Assert.Equal(found.ReducedFwhmArcsec[6], found.ReducedFwhmArcsec[7], 0.05);
        Assert.DoesNotContain(7, found.BestFrames);
        Assert.Contains(found.Notes, n => n.Code == NightConditionsNotes.Trailed.Code);
    }

    [Fact]
    public void Growth_that_refocusing_takes_back_is_the_focus()
    {
        // Width from the product of transfers of air (Fried 1966), aperture, and defocus as 2 J1(x) / x with x shrunk by 1 - v / D
        // (Stokseth 1969, J. Opt. Soc. Am. 59, 1314; from memory), here by a plain sum.
        const double Speed = 80, Aperture = 300, Ratio = 5, PerUm = Seeing.ArcsecPerRadian / (Aperture * Ratio * 1000) / Ratio;
        NightConditionsRequest request = Night(48, t => Width(2.5, Speed * (t % 1.0) * PerUm, Aperture)) with
        {
            ApertureMm = Aperture,
            FocalLengthMm = Aperture * Ratio,
            WavelengthNm = 550,
            FocusIsLength = true,
        };
        request = request with { Focus = [.. request.TimeH.Select(t => Speed * Math.Floor(t))] };
        NightConditionsResult found = NightConditionsMeasurement.Measure(request, new RunContext());
        Assert.Contains(found.Notes, n => n.Code == NightConditionsNotes.RefocusHelps.Code);
        Assert.Equal(3, found.Flags.Count(f => (f & (int)FrameMarks.Refocused) != 0));

        // Stokseth's form holds to some percent near one wave of defocus. That growth goes with the square of time is true for small blurs,
        // and the bar holds 15 % for that.
        Assert.Equal(Speed, found.GrowthDrift.Value, 0.15 * Speed);
        Assert.True(found.GrowthDrift.Uncertainty > 0.15 * found.GrowthDrift.Value);
        Assert.Equal(Speed, found.FocusDrift.Value, 0.1);
        Assert.Equal("not decided", found.TrendVerdict);

        NightConditionsResult held = NightConditionsMeasurement.Measure(request with { ProfileFwhm = Night(48, _ => 2.5).ProfileFwhm }, new RunContext());
        Assert.Contains(held.Notes, n => n.Code == NightConditionsNotes.FocusHeld.Code);
    }

    [Fact]
    public void Cooling_is_decided_only_where_the_places_bend()
    {
        double[] time = [.. Enumerable.Range(0, 12).Select(k => 0.5 * k)];
        var random = new Random(3);
        double Noise() => 2 * ((2 * random.NextDouble()) - 1);
        NightConditionsRequest Runs(Func<double, double> place) => Night(12, _ => 2.5) with
        {
            RunTimeH = time,
            RunFocus = [.. time.Select(t => place(t) + Noise())],
            RunFocusUncertainty = [.. time.Select(_ => double.NaN)],
        };

        // Newton's law of cooling.
        NightConditionsResult bent = NightConditionsMeasurement.Measure(Runs(t => -150 + (150 * Math.Exp(-t / 1.5))), new RunContext());
        Assert.Equal(1.5, bent.CoolingTime.Value, 3 * bent.CoolingTime.Uncertainty);
        Assert.Equal(-150, bent.FinalFocus.Value, 3 * bent.FinalFocus.Uncertainty);
        Assert.InRange(bent.CoolingTime.Uncertainty, 0.01, 0.3);
        NightConditionsResult straight = NightConditionsMeasurement.Measure(Runs(t => -20 * t), new RunContext());
        Assert.True(double.IsNaN(straight.CoolingTime.Value));
        Assert.Equal(-20, straight.FocusDrift.Value, 3 * straight.FocusDrift.Uncertainty);

        // Runs are in um, whatever the focuser counts.
        Assert.Equal("um / h", straight.FocusDrift.Unit);
        Assert.True(straight.FocusIsLength);
        Assert.Contains(straight.Notes, n => n.Code == NightConditionsNotes.FocusDrifts.Code && n.Text.Contains("um an hour", StringComparison.Ordinal));
        Assert.Contains(straight.Notes, n => n.Code == NightConditionsNotes.Cooling.Code && n.Text.Contains("not decided", StringComparison.Ordinal));
    }

    [Fact]
    public void A_focuser_that_follows_is_no_refocusing()
    {
        NightConditionsRequest request = Night(20, _ => 2.5);
        NightConditionsResult found = NightConditionsMeasurement.Measure(request with { Focus = [.. request.TimeH.Select(t => 12 * t)] }, new RunContext());
        Assert.Contains(found.Notes, n => n.Code == NightConditionsNotes.FocusFollowed.Code);
        Assert.True(double.IsNaN(found.FocusDrift.Value) && double.IsNaN(found.FocusGrowth.Value));
    }

    [Fact]
    public void What_is_lacking_is_said()
    {
        NightConditionsResult few = NightConditionsMeasurement.Measure(Night(4, _ => 2.5) with { WavelengthNm = double.NaN }, new RunContext());
        Assert.Contains(few.Notes, n => n.Code == NightConditionsNotes.FewFrames.Code);
        Assert.Contains(few.Notes, n => n.Code == NightConditionsNotes.WavelengthAssumed.Code);
        Assert.True(double.IsNaN(few.Trend.Value));
        NightConditionsRequest blank = Night(8, _ => 2.5) with { Airmass = [.. Enumerable.Repeat(double.NaN, 8)] };
        Assert.Contains(NightConditionsMeasurement.Measure(blank, new RunContext()).Notes, n => n.Code == NightConditionsNotes.NoAirmass.Code);
        NightConditionsRequest weeks = Night(8, _ => 2.5) with { TimeH = [0, 1, 2, 3, 24, 25, 26, 27] };
        NightConditionsResult several = NightConditionsMeasurement.Measure(weeks, new RunContext());
        Assert.All(several.Quantities, q => Assert.NotEmpty(q.Doubts));
        Assert.Throws<InputException>(() => NightConditionsMeasurement.Measure(Night(4, _ => 2.5) with { TimeH = [0, 2, 1, 3] }, new RunContext()));
        Assert.Throws<InputException>(() => NightConditionsMeasurement.Measure(Night(4, _ => 2.5) with { Airmass = [1, 1, 0.2, 1] }, new RunContext()));
        NightConditionsRequest cloudy = Night(4, _ => 2.5) with { Snr = [.. Enumerable.Repeat(3.0, 4 * Stars)] };
        Assert.Throws<CannotMeasureException>(() => NightConditionsMeasurement.Measure(cloudy, new RunContext()));
    }

    /// <summary>FWHM in arcsec of a star at 550 nm behind a perfect aperture with a disc of defocus.</summary>
    private static double Width(double air, double disc, double apertureMm)
    {
        const int Steps = 200;
        double d = apertureMm / 1000, r0 = 0.975863 * 550e-9 / (air / Seeing.ArcsecPerRadian);
        double Sum(double radius)
        {
            double sum = 0;
            for (int k = 1; k < Steps; k++)
            {
                double v = d * k / Steps, x = v / d, turn = Math.PI * disc / Seeing.ArcsecPerRadian * v / 550e-9 * (1 - x);
                double aperture = 2 / Math.PI * (Math.Acos(x) - (x * Math.Sqrt(1 - (x * x))));
                double blur = turn > 1e-9 ? 2 * SpecialFunctions.BesselJ(1, turn) / turn : 1;
                sum += v * aperture * blur * Math.Exp(-3.441939 * Math.Pow(v / r0, 5.0 / 3))
                    * SpecialFunctions.BesselJ(0, 2 * Math.PI * radius / Seeing.ArcsecPerRadian * v / 550e-9);
            }

            return sum;
        }

        double top = Sum(0);
        return 2 * Brent.FindRoot(r => (Sum(r) / top) - 0.5, 0.2, 5, 1e-6, 100);
    }

    private static NightConditionsRequest Night(int frames, Func<double, double> width) => Night(frames, (t, _) => width(t));

    private static NightConditionsRequest Night(int frames, Func<double, double> width, Func<int, double> trail) => Night(frames, (t, _) => width(t), trail);

    /// <summary>A frame every five minutes; stars scatter by 1 % in width about the frame's, evenly, so that their median is it.</summary>
    private static NightConditionsRequest Night(int frames, Func<double, int, double> width, Func<int, double>? trail = null)
    {
        double[] time = [.. Enumerable.Range(0, frames).Select(k => k / 12.0)], all = new double[frames * Stars], minor = new double[frames * Stars];
        for (int k = 0; k < frames; k++)
        {
            double drawn = trail?.Invoke(k) ?? 0, wide = width(time[k], k);
            for (int s = 0; s < Stars; s++)
            {
                double off = 0.02 * (((s + 0.5) / Stars) - 0.5);
                all[(k * Stars) + s] = wide / Math.Sqrt(1 - drawn) / Scale * (1 + off);
                minor[(k * Stars) + s] = 1 - drawn;
            }
        }

        double[] Fill(double value) => [.. Enumerable.Repeat(value, frames * Stars)];
        return new NightConditionsRequest
        {
            ProfileFwhm = all,
            SigmaMajor = Fill(1),
            SigmaMinor = minor,
            EllipticityUncertainty = Fill(0.01),
            PositionAngleDeg = Fill(20),
            Snr = Fill(100),
            Flags = Fill(0),
            TimeH = time,
            Airmass = [.. Enumerable.Repeat(1.0, frames)],
            Stars = [.. Enumerable.Repeat(Stars, frames)],
            PixelScaleArcsecPerPx = Scale,
            ScaleFromSky = true,
            WavelengthNm = 500,
        };
    }
}
