namespace StarAssay.Engine.Measurements.NightConditions;

/// <summary>Places of best focus through the night, and how they move.</summary>
/// <param name="Time">Hours.</param>
/// <param name="Place">Of best focus.</param>
/// <param name="FromRuns">Whether focus runs told them.</param>
/// <param name="InUm">Whether they are um: those of focus runs always, the focuser's own may be steps.</param>
/// <param name="WithTime">Against time.</param>
/// <param name="WithTemperature">Against temperature.</param>
internal sealed record FocusPlaces(double[] Time, double[] Place, bool FromRuns, bool InUm, CoolingFit WithTime, CoolingFit WithTemperature)
{
    /// <summary>From focus runs, else from the places to which the focuser was moved.</summary>
    public static FocusPlaces Of(NightConditionsRequest request, int[] rows, FocusHistory focus)
    {
        bool runs = request.RunTimeH.Length > 0;
        int[] starts = focus.Refocused ? [.. Enumerable.Range(0, rows.Length).Where(k => k == 0 || focus.Moved[k]).Select(k => rows[k])] : [];
        double[] time = runs ? request.RunTimeH : [.. starts.Select(f => request.TimeH[f])];
        double[] place = runs ? request.RunFocus : [.. starts.Select(f => request.Focus[f])];
        double[] sigma = runs ? request.RunFocusUncertainty : [.. starts.Select(_ => double.NaN)];
        double Warmth(double at) => request.Temperature[Enumerable.Range(0, request.TimeH.Length).MinBy(f => Math.Abs(request.TimeH[f] - at))];
        double[] warmth = request.Temperature.Length > 0 ? [.. time.Select(Warmth)] : [];
        CoolingFit withTemperature = warmth.Length > 0 && warmth.All(double.IsFinite)
            ? CoolingFit.Of(warmth, place, sigma, exponential: false)
            : CoolingFit.Of([], [], [], exponential: false);
        return new FocusPlaces(time, place, runs, runs || request.FocusIsLength, CoolingFit.Of(time, place, sigma, exponential: true), withTemperature);
    }
}
