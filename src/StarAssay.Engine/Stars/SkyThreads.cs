using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>
/// Finds where threads of a nebula run through the sky, by what they leave among the peaks. Most pixels of a cell lie beside its threads, so that what
/// it scatters by, outliers left out, hardly shows them; and where all cells have some, none is calm enough to compare with. But noise makes a string of peaks
/// of each thread, from which light falls off to neither side of one line, and none of these in a sky without threads.
/// </summary>
internal static class SkyThreads
{
    // A cell scatters by so much more than its pixels differ from the next ones: five deviations of the noise of 64 x 64 pixels. Without threads
    // (tests/accuracy/star_trials.py, 84 frames) at most 5 % of the cells do and have such peaks, behind rings of 30 pixels, and 3 % in tilted fields; threads
    // as high as a pixel's noise leave 19 % and more. Trails of satellites have the peaks, but are so few pixels that they count as outliers.
    private const double Excess = 1.06;
    private const double LeastShare = 0.1;

    /// <summary>Whether threads are everywhere.</summary>
    /// <param name="frame">The frame.</param>
    /// <param name="cells">Its sky on the coarse mesh.</param>
    /// <param name="peaks">All peaks.</param>
    /// <param name="lone">Those that stand out to all sides.</param>
    /// <param name="context">Threads.</param>
    /// <returns>Which cells have some; null where these are too few.</returns>
    public static bool[]? In(Frame frame, SkyCells cells, Seed[] peaks, Seed[] lone, RunContext context)
    {
        int[] more = new int[cells.Level.Length];
        foreach (Seed s in peaks)
        {
            more[cells.At(s.X, s.Y)]++;
        }

        foreach (Seed s in lone)
        {
            more[cells.At(s.X, s.Y)] -= 2;
        }

        double least = LeastShare * more.Length;
        if (more.Count(m => m > 0) < least)
        {
            return null;
        }

        float[] noise = PixelNoise.Of(frame, cells, context).Noise;
        bool[] threaded = [.. more.Select((m, k) => m > 0 && cells.Noise[k] > Excess * noise[k])];
        return threaded.Count(t => t) < least ? null : threaded;
    }
}
