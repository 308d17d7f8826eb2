using StarAssay.Engine.Imaging;
using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Measurements.WavefrontField;

/// <summary>A star of both frames.</summary>
/// <param name="X">Column of its disc in each frame.</param>
/// <param name="Y">Row of its disc in each frame.</param>
/// <param name="Diameter">Outer diameter of its disc in each frame by its half-flux radius, pixels.</param>
/// <param name="Flux">Light in the fainter image, ADU.</param>
internal sealed record PairStar(double[] X, double[] Y, double[] Diameter, double Flux);

/// <summary>The stars that are whole, alone and unclipped in both frames.</summary>
internal sealed class PairStars
{
    /// <summary>Fewest stars that place a tilted bowl and quadratic astigmatism.</summary>
    public const int LeastStars = 10;

    // Light of a neighbor that overlaps the disc, over the star's own: more moves the modes by more than noise does.
    private const double NeighborLight = 0.003;

    // A star must stand out so far from the sky's noise within its disc.
    private const double LeastSnr = 60;

    // Room beside the disc for seeing and the neighbor's own, pixels.
    private const double Room = 4;

    // A disc of another size than its neighbors is a blend or no star: so much of its diameter, and so many times the usual scatter.
    private const double OddShare = 0.04, OddScatter = 4;

    private PairStars(PairStar[] stars, StarField[] fields, int matched, int cut, int clipped, int crowded, int faint, int odd)
    {
        (Stars, Fields, Matched, Cut, Clipped, Crowded, Faint, Odd) = (stars, fields, matched, cut, clipped, crowded, faint, odd);
    }

    /// <summary>Those that serve, brightest first.</summary>
    public PairStar[] Stars { get; }

    /// <summary>All stars of each frame.</summary>
    public StarField[] Fields { get; }

    /// <summary>Found in both frames.</summary>
    public int Matched { get; }

    /// <summary>Left out: cut by the rim.</summary>
    public int Cut { get; }

    /// <summary>Left out: clipped.</summary>
    public int Clipped { get; }

    /// <summary>Left out: another disc overlaps.</summary>
    public int Crowded { get; }

    /// <summary>Left out: too faint.</summary>
    public int Faint { get; }

    /// <summary>Left out: of another size than their neighbors.</summary>
    public int Odd { get; }

    /// <summary>How many were left out.</summary>
    public int LeftOutCount => Cut + Clipped + Crowded + Faint + Odd;

    /// <summary>Why stars were left out, in words; empty when none were.</summary>
    public string LeftOut
    {
        get
        {
            string[] why = [.. new[] { (Cut, "cut by the rim"), (Clipped, "clipped"), (Crowded, "overlapped by another disc"), (Faint, "too faint"),
                (Odd, "of another size than their neighbors (two stars in one disc, or no star)") }
                .Where(w => w.Item1 > 0).Select(w => $"{w.Item1} {w.Item2}")];
            return string.Join(", ", why);
        }
    }

    /// <summary>Finds and matches them.</summary>
    /// <exception cref="CannotMeasureException">The frames do not show one field, or too few stars serve.</exception>
    public static PairStars Of(WavefrontFieldRequest request, RunContext context)
    {
        StarField[] fields = [.. request.Frames.Select(f =>
            StarMeasurement.Measure(new StarRequest { Frame = f, FitProfiles = ProfileFits.None }, new RunContext(context.Threads, null, context.Cancel)))];
        FieldSet set = FieldSet.Match([.. fields.Select((f, k) => FieldStars.Of(f, request.Frames[k].Name))]);
        if (set.Placements.FirstOrDefault(p => !p.Placed) is { } lost)
        {
            throw new CannotMeasureException("wavefront-field.not-one-field", lost.Reason);
        }

        double ring = Math.Sqrt(8 / (1 + (request.Pupil.Obstruction * request.Pupil.Obstruction)));
        var good = new List<PairStar>();
        (int matched, int cut, int clipped, int crowded, int faint) = (0, 0, 0, 0, 0);
        for (int s = 0; s < set.Count; s++)
        {
            int[] at = [set.Index[0, s], set.Index[1, s]];
            if (at[0] < 0 || at[1] < 0)
            {
                continue;
            }

            matched++;
            double[] x = [fields[0].X[at[0]], fields[1].X[at[1]]], y = [fields[0].Y[at[0]], fields[1].Y[at[1]]];
            double[] diameter = [ring * fields[0].Hfr[at[0]], ring * fields[1].Hfr[at[1]]];
            double flux = Math.Min(fields[0].Flux[at[0]], fields[1].Flux[at[1]]);
            bool Any(Func<int, bool> wrong) => wrong(0) || wrong(1);
            if (!diameter.All(d => d > 0) || !(flux > 0))
            {
                continue;
            }

            if (Any(k => Rim(fields[k], x[k], y[k]) < (diameter[k] / 2) + Room))
            {
                cut++;
            }
            else if (Any(k => ((StarMarks)fields[k].Flags[at[k]] & StarMarks.Saturated) != 0))
            {
                clipped++;
            }
            else if (Any(k => Overlapped(fields[k], at[k], diameter[k])))
            {
                crowded++;
            }
            else if (Any(k => Snr(fields[k], request.Frames[k], at[k], diameter[k]) < LeastSnr))
            {
                faint++;
            }
            else
            {
                good.Add(new PairStar(x, y, diameter, flux));
            }
        }

        int before = good.Count;
        good = OfOneKind(good, request);
        PairStar[] chosen = [.. good.OrderByDescending(s => s.Flux).ThenBy(s => s.X[0]).Take(request.MostStars)];
        var found = new PairStars(chosen, fields, matched, cut, clipped, crowded, faint, before - good.Count);
        if (chosen.Length < LeastStars)
        {
            string why = found.LeftOut.Length > 0 ? $" ({found.LeftOut})" : string.Empty;
            throw new CannotMeasureException("wavefront-field.too-few-stars",
                $"{chosen.Length} of {matched} stars seen in both frames are whole, alone, unclipped and bright enough{why}; {LeastStars} are needed, 30 or "
                + "more wanted. Take a field with more bright stars, expose longer, or defocus a little less where discs overlap.");
        }

        return found;
    }

    /// <summary>Leaves out discs that differ in size from what a tilted bowl through all says of their place.</summary>
    private static List<PairStar> OfOneKind(List<PairStar> stars, WavefrontFieldRequest request)
    {
        if (stars.Count < LeastStars)
        {
            return stars;
        }

        double width = request.Frames[0].Width, height = request.Frames[0].Height, half = 0.5 * Math.Sqrt((width * width) + (height * height));
        bool[] fits = [.. Enumerable.Repeat(true, stars.Count)];
        for (int k = 0; k < 2; k++)
        {
            double usual = Robust.Median(stars.Select(s => s.Diameter[k]));
            double[][,] row = [.. stars.Select(s => FieldTerms.Focus((s.X[k] - (width / 2)) / half, (s.Y[k] - (height / 2)) / half))];
            FieldLaw law = FieldLaw.Of([.. stars.Select((s, i) => new StarValue([s.Diameter[k]], [Math.Pow(0.003 * usual, 2)], row[i]))]);
            double limit = Math.Max(OddShare * usual, OddScatter * law.Scatter);
            for (int i = 0; i < stars.Count; i++)
            {
                fits[i] &= Math.Abs(stars[i].Diameter[k] - FieldTerms.At(row[i], law.Values)[0]) < limit;
            }
        }

        return [.. stars.Where((_, i) => fits[i])];
    }

    private static double Rim(StarField field, double x, double y) =>
        Math.Min(Math.Min(x, field.Width - 1 - x), Math.Min(y, field.Height - 1 - y)) + 0.5;

    private static bool Overlapped(StarField field, int at, double diameter)
    {
        for (int j = 0; j < field.X.Length; j++)
        {
            double dx = field.X[j] - field.X[at], dy = field.Y[j] - field.Y[at];
            if (j != at && (dx * dx) + (dy * dy) < Math.Pow(diameter + Room, 2) && field.Flux[j] > NeighborLight * field.Flux[at])
            {
                return true;
            }
        }

        return false;
    }

    private static double Snr(StarField field, Frame frame, int at, double diameter)
    {
        double gain = frame.GainElectronsPerAdu > 0 ? frame.GainElectronsPerAdu : 1, light = field.Flux[at] * gain;
        double sky = field.SkyNoise[at] * gain;
        return light / Math.Sqrt(light + (Math.PI / 4 * diameter * diameter * sky * sky));
    }
}
