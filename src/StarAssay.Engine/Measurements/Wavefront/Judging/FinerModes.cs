using MathNet.Numerics.LinearAlgebra;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>
/// What modes finer than those fitted may do. The information criterion alone nearly always asks for more on a real sky; what counts
/// is how much the finest order that was fitted still holds, for the next ones then hold about as much.
/// </summary>
internal static class FinerModes
{
    /// <summary>Noise variances that the finest order must exceed: noise alone, whose sum of squares scatters, must not ask.</summary>
    private const double NoiseFactor = 3;

    /// <summary>Share of the map's bar from which it is said.</summary>
    private const double SaidFrom = 0.5;

    /// <summary>RMS of the finest order fitted, noise taken out; 0 when the data asked for no more orders or it holds noise only.</summary>
    public static double Held(WavefrontRequest request, FitRun run, double[] c, Matrix<double> fromFit)
    {
        if (run.Strategy.StoppedEarly || request.MostNoll <= request.LeastNoll)
        {
            return 0;
        }

        int order = run.Modes[c.Length - 1].N;
        double content = 0;
        double noise = 0;
        for (int j = 0; j < c.Length; j++)
        {
            if (run.Modes[j].N == order)
            {
                content += c[j] * c[j];
                noise += fromFit[j, j];
            }
        }

        return content > NoiseFactor * noise ? Math.Sqrt(content - noise) : 0;
    }

    /// <summary>Adds what finer modes leak into the fitted ones, taken as large as what the finest order holds and spread as the
    /// fit's own errors are, and says so when it shows.</summary>
    public static void Add(UncertaintyParts parts, WavefrontRequest request, FitRun run, Matrix<double> fromFit, List<Note> notes)
    {
        double held = Held(request, run, parts.Coefficients, fromFit);
        double own = (parts.Surface.GramMatrix * fromFit).Trace();
        if (held <= 0 || !(own > 0))
        {
            return;
        }

        double bar = Math.Sqrt((parts.Surface.GramMatrix * parts.Covariance).Trace());
        parts.AddCommon("finer modes than fitted", "B", $"as much as the finest order fitted holds, {held:F1} nm", fromFit * (held * held / own));
        if (held > SaidFrom * bar)
        {
            notes.Add(WavefrontNotes.MoreModes.Say(
                $"The finest order fitted (up to Noll {request.MostNoll}) still holds {held:F1} nm RMS, beside a bar of {bar:F1} nm for the map: the figure " +
                    "has finer errors, of about that size. They are not in the RMS, and the bars have been widened for what they leak into coarser modes. " +
                    "Allow more with most_noll."));
        }
    }
}
