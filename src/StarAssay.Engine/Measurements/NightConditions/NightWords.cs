using System.Globalization;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.NightConditions;

/// <summary>What the reader must know of a night.</summary>
internal sealed class NightWords(NightConditionsRequest request, NightFrames frames, AirWidth air, int[] rows, FocusHistory focus, FocusPlaces places,
    NightConditionsResult found, double told)
{
    // Hours; no night is longer where people observe, and two are mostly farther apart.
    private const double OneNight = 18;

    /// <summary>The notes.</summary>
    public IReadOnlyList<Note> Notes(bool trend)
    {
        var notes = new List<Note>();
        Method(notes);
        Frames(notes, trend);
        if (trend)
        {
            Trend(notes);
        }

        Focus(notes, trend);
        return notes;
    }

    private static string Text(double value, string form) => value.ToString(form, CultureInfo.InvariantCulture);

    private void Method(List<Note> notes)
    {
        string diffraction = air.Known ? "the telescope's diffraction taken off by the product of transfers, " : string.Empty;
        notes.Add(NightConditionsNotes.Method.Say(
            $"Median width of each frame's own star profiles, {diffraction}a trail's part taken off, then brought to the zenith and 500 nm by airmass^0.6 and "
            + "wavelength^-0.2 (Kolmogorov's air; with a finite outer scale the true factors differ by some percent). Neighboring frames are "
            + "alike: the bars of level and trend hold that. "
            + $"{rows.Length} frames tell the level as well as {Text(found.IndependentFrames, "0.#")} independent ones would."));
        notes.Add(NightConditionsNotes.NotAirAlone.Say(
            "Optics, focus and mount are in every width: the air was at least as good as that. The best frames bound what the optics do, "
            + "the worst ones say nothing about them."));
        if (double.IsNaN(request.WavelengthNm))
        {
            notes.Add(NightConditionsNotes.WavelengthAssumed.Say(
                "The wavelength was not given; 550 nm was taken. 100 nm more or less change the reduced widths by 4 %."));
        }

        if (!air.Known)
        {
            notes.Add(NightConditionsNotes.WithDiffraction.Say("The aperture was not given: its diffraction is still in the reduced widths."));
        }

        double px = found.MedianFwhm.Value / request.PixelScaleArcsecPerPx;
        if (px < NightFrames.Sampled)
        {
            notes.Add(NightConditionsNotes.Undersampled.Say(
                $"The stars are {Text(px, "0.0")} pixels wide: widths follow the pixels as much as the light, and better air hardly "
                + "shows. The bars hold 5 %."));
        }

        int narrow = rows.Count(f => frames.Round[f] < air.LeastArcsec);
        if (narrow > 0)
        {
            notes.Add(NightConditionsNotes.NotResolved.Say(
                $"In {narrow} of {rows.Length} frames the stars are hardly wider than this aperture draws them: the air's share is at most what is stated."));
        }
    }

    private void Frames(List<Note> notes, bool trend)
    {
        int n = request.TimeH.Length, poor = n - frames.Usable.Length, without = frames.Usable.Length - rows.Length;
        double span = request.TimeH[rows[^1]] - request.TimeH[rows[0]];
        if (span > OneNight)
        {
            notes.Add(NightConditionsNotes.SeveralNights.Say(
                $"The frames span {Text(span, "0")} h: that is more than one night, and a trend over several means nothing. Give each night by itself."));
        }

        if (!trend)
        {
            notes.Add(NightConditionsNotes.FewFrames.Say(
                $"{rows.Length} frames over {Text(60 * span, "0")} min tell a level, no trend. Take a dozen or more over an hour or longer."));
        }

        if (poor > 0)
        {
            notes.Add(NightConditionsNotes.FewStars.Say(
                $"{poor} of {n} frames show fewer than {NightFrames.LeastStars} clean stars and were left out: clouds, dew, or too short an exposure?"));
        }

        if (rows.All(f => double.IsNaN(request.Airmass[f])))
        {
            notes.Add(NightConditionsNotes.NoAirmass.Say(
                "No airmass is known: the widths are not reduced to the zenith, and a star that rises or sets makes a trend of its own. Give airmass, "
                + "or the site."));
        }
        else if (without > 0)
        {
            notes.Add(NightConditionsNotes.NoAirmass.Say(
                $"{without} frames have no airmass and were left out of what is reduced to the zenith. Give airmass, or the site."));
        }

        int trailed = frames.Usable.Count(f => frames.Trailed[f]);
        if (trailed > 0)
        {
            notes.Add(NightConditionsNotes.Trailed.Say(
                $"In {trailed} of {frames.Usable.Length} frames all stars are drawn out alike, otherwise than through the night: tracking or wind, not the "
                + "optics and not the air. Their widths across the trail were used; measure no optics on them."));
        }
    }

    private void Trend(List<Note> notes)
    {
        string amount = $"{Text(found.Trend.Value, "+0.00;-0.00")} ± {Text(found.Trend.Uncertainty, "0.00")} arcsec an hour";
        if (found.TrendVerdict == "rising")
        {
            string drift = double.IsNaN(found.LargestDrift) ? string.Empty
                : $" A focus that drifts from its best place by up to {Text(found.LargestDrift, "0")} um an hour could do it.";
            string cause = focus.Refocused ? "refocusing does not take that back, so that the air or something that focus does not mend is the cause"
                : "the air got worse, or focus drifted: sizes alone do not tell which, nor which way. Refocus between frames and look again";
            notes.Add(NightConditionsNotes.Rising.Say($"The stars grow through the night by {amount}, after the airmass was taken off: {cause}.{drift}"));
        }
        else if (found.TrendVerdict == "falling")
        {
            notes.Add(NightConditionsNotes.Falling.Say(
                $"The stars shrink through the night by {amount}, after the airmass was taken off: the air or the tube calmed, or focus came nearer. Measure "
                + "optics on the later frames."));
        }
    }

    private void Focus(List<Note> notes, bool trend)
    {
        if (focus.Followed)
        {
            notes.Add(NightConditionsNotes.FocusFollowed.Say(
                "The focuser moved between most frames, as one that follows the temperature does: its places are not those of refocusing and tell no drift."));
        }
        else if (!focus.Refocused && trend)
        {
            string known = focus.Known ? "The focuser stood still" : "Positions of the focuser are not known";
            string largest = found.LargestDrift > 0
                ? $" Starting from best focus, up to {Text(found.LargestDrift, "0")} um an hour could hide in these widths (two standard "
                    + "uncertainties)." : string.Empty;
            notes.Add(NightConditionsNotes.FocusUnseen.Say(
                $"{known}: a slowly drifting focus and worse air look alike in the sizes of stars.{largest} Focus runs through the night, "
                + "or refocusing now and then, tell them apart."));
        }
        else if (double.IsFinite(found.FocusGrowth.Value))
        {
            string amount = $"{Text(found.FocusGrowth.Value, "+0.00;-0.00")} ± {Text(found.FocusGrowth.Uncertainty, "0.00")} arcsec";
            string often = $"{Text(60 * focus.Interval, "0")} min";
            string speed = found.GrowthDrift.Value > 0
                ? $", as a focus does that drifts by {Text(found.GrowthDrift.Value, "0")} ± {Text(found.GrowthDrift.Uncertainty, "0")} um an hour "
                    + "(which way, sizes do not tell)"
                : string.Empty;
            notes.Add(found.FocusGrowth.Value > told * found.FocusGrowth.Uncertainty
                ? NightConditionsNotes.RefocusHelps.Say(
                    $"Within {often} without refocusing the stars grow by {amount}, and refocusing takes it back{speed}. Refocus more "
                    + "often, and do not blame the optics.")
                : NightConditionsNotes.FocusHeld.Say(
                    $"Within {often} without refocusing the stars change by {amount} beyond what the night does: no drift of focus is told."));
        }

        if (places.Place.Length >= 3)
        {
            Drift(notes);
        }
    }

    private void Drift(List<Note> notes)
    {
        string unit = places.InUm ? "um" : "steps";
        string from = places.FromRuns ? $"{places.Place.Length} focus runs" :
            $"the {places.Place.Length} places at which the focuser was left (each taken for best focus)";
        Measured time = found.FocusDrift, warm = found.FocusDriftWithTemperature;
        bool moves = Math.Abs(time.Value) > told * time.Uncertainty;
        string withWarmth = double.IsFinite(warm.Value)
            ? $", {Text(warm.Value, "+0.0;-0.0")} ± {Text(warm.Uncertainty, "0.0")} {unit} for each degree" : string.Empty;
        notes.Add(NightConditionsNotes.FocusDrifts.Say(
            $"By {from} best focus {(moves ? "moves" : "is not told to move")}: {Text(time.Value, "+0.0;-0.0")} ± {Text(time.Uncertainty, "0.0")} {unit} "
            + $"an hour{withWarmth}."));
        if (places.Place.Length >= 6)
        {
            notes.Add(NightConditionsNotes.Cooling.Say(double.IsFinite(found.CoolingTime.Value)
                ? $"Focus comes to rest as a cooling tube's does, with a time constant of {Text(found.CoolingTime.Value, "0.0")} ± "
                    + $"{Text(found.CoolingTime.Uncertainty, "0.0")} h: "
                    + $"{Text(Math.Exp(-(places.Time[^1] - places.Time[0]) / found.CoolingTime.Value) * 100, "0")} % of the way was left at the end."
                : "A straight line describes the focus as well as a cooling curve: time constant and final place are not decided. Follow "
                    + "it for longer, from the start on."));
        }
    }
}
