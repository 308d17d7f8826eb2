using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>Tells by its objects a frame that is no field of stars: a flat, spectra, a lamp, a rim.</summary>
internal static class FieldKind
{
    private const int FewestObjects = 5;
    private const double LeastSnr = 10;

    // Half-flux over outer radius: 0.707 for what is as bright at its rim as in its middle, 0.33 for the usual star.
    private const double FlatRadius = 0.6;
    private const double FlatShare = 0.5;

    // Long objects (1 - b/a) that all lie along one line; the mean of their doubled directions is near 1 then.
    private const double Long = 0.4;
    private const double LongShare = 0.5;
    private const double Aligned = 0.75;

    // The trace of a spectrum is found as many peaks without a shape of their own on few rows, or columns.
    private const double TraceSnr = 20;
    private const double TraceWidth = 6;
    private const double TraceShare = 0.4;
    private const double ShapelessShare = 0.4;

    /// <summary>A doubt when this is no star field, else nothing.</summary>
    public static IEnumerable<Note> Doubts(StarTable.Columns c, MeterSettings set)
    {
        int[] objects = [.. Enumerable.Range(0, c.Flags.Length).Where(k => c.Snr[k] > LeastSnr && ((StarMarks)c.Flags[k] & StarMarks.CosmicRay) == 0)];
        if (objects.Length < FewestObjects)
        {
            yield break;
        }

        int flat = objects.Count(k => !(c.HfrRecorded[k] < FlatRadius * set.OuterRadius));
        if (flat > FlatShare * objects.Length)
        {
            yield return StarNotes.NotAField.Say($"{flat} of {objects.Length} objects are as bright at their rims as in the middle: this looks like a flat " +
                "field, clouds or a defocused lamp, not like stars. No size here is that of a star.", set.Frame.Name);
            yield break;
        }

        int[] bright = Array.FindAll(objects, k => c.Snr[k] > TraceSnr && ((StarMarks)c.Flags[k] & (StarMarks.Edge | StarMarks.BadPixels)) == 0);
        int shapeless = bright.Count(k => ((StarMarks)c.Flags[k] & StarMarks.NoShape) != 0), most = 0;
        bool traced = bright.Length >= FewestObjects && shapeless > ShapelessShare * bright.Length;
        if (traced)
        {
            // The sorting is left to where it can matter.
            most = Math.Max(OnStrip(c.X, bright), OnStrip(c.Y, bright));
            traced = most >= FewestObjects && most > TraceShare * bright.Length;
        }

        if (traced)
        {
            yield return StarNotes.NotAField.Say($"{most} of {bright.Length} bright objects stand on one strip of {TraceWidth:F0} pixels, and {shapeless} " +
                "have no shape of their own: this looks like the trace of a spectrum or of a trailed star, or like the step at a dark rim, not like stars. " +
                "No size here is that of a star. Give a frame of stars, or cut the rim off.", set.Frame.Name);
            yield break;
        }

        int[] shaped = Array.FindAll(objects, k => double.IsFinite(c.Major[k]));
        int[] stretched = Array.FindAll(shaped, k => c.Minor[k] < (1 - Long) * c.Major[k]);
        if (stretched.Length >= FewestObjects && stretched.Length > LongShare * shaped.Length)
        {
            double cos = stretched.Average(k => Math.Cos(c.Angle[k] * Math.PI / 90)), sin = stretched.Average(k => Math.Sin(c.Angle[k] * Math.PI / 90));
            if (Math.Sqrt((cos * cos) + (sin * sin)) > Aligned)
            {
                yield return StarNotes.NotAField.Say($"{stretched.Length} of {shaped.Length} objects are long and lie along " +
                    $"{Math.Atan2(sin, cos) * 90 / Math.PI:F0} degrees: spectra, lines of a lamp, or stars trailed by the mount. No size here is that of " +
                    "the telescope.", set.Frame.Name);
            }
        }
    }

    /// <summary>The most objects that a strip of the frame's rows, or columns, holds.</summary>
    private static int OnStrip(double[] at, int[] objects)
    {
        double[] sorted = [.. objects.Select(k => at[k]).Order()];
        int most = 0;
        for (int from = 0, to = 0; to < sorted.Length; to++)
        {
            while (sorted[to] - sorted[from] > TraceWidth)
            {
                from++;
            }

            most = Math.Max(most, to - from + 1);
        }

        return most;
    }
}
