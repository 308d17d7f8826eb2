using StarAssay.Engine.Numerics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Stars;

/// <summary>Which stars of several frames are the same, although the frames have moved and some are blurred to discs.</summary>
/// <remarks>The reference is the frame with the most stars. A star that cannot be told from its neighbors in a frame is not matched
/// there: what is missing is said, a wrong partner is not given.</remarks>
public sealed record FieldSet
{
    /// <summary>Number of the reference frame; star numbers count its stars.</summary>
    public required int Reference { get; init; }

    /// <summary>Number of each star in each frame, [frame, star]; -1 = not matched.</summary>
    public required int[,] Index { get; init; }

    /// <summary>How each frame lies on the reference.</summary>
    public required IReadOnlyList<FieldPlacement> Placements { get; init; }

    /// <summary>Right ascension of each star, degrees: from the first frame that knows it; NaN = unknown.</summary>
    public required double[] RaDeg { get; init; }

    /// <summary>Declination of each star, degrees.</summary>
    public required double[] DecDeg { get; init; }

    /// <summary>Stars of the reference.</summary>
    public int Count => RaDeg.Length;

    /// <summary>Numbers of the stars that are matched in at least so many frames, the reference counted.</summary>
    public int[] InFrames(int least) => [.. Enumerable.Range(0, Count).Where(s => Enumerable.Range(0, Placements.Count).Count(f => Index[f, s] >= 0) >= least)];

    /// <summary>Matches the frames' stars.</summary>
    /// <exception cref="InputException">No frames, or arrays of unequal length.</exception>
    public static FieldSet Match(IReadOnlyList<FieldStars> frames, FieldSetOptions? options = null)
    {
        Check(frames);
        options ??= new FieldSetOptions();
        int reference = Enumerable.Range(0, frames.Count).MaxBy(f => frames[f].X.Length);
        int n = frames[reference].X.Length;
        int[,] index = new int[frames.Count, n];
        var placements = new FieldPlacement?[frames.Count];
        FieldMatch?[] matches = new FieldMatch?[frames.Count];
        for (int f = 0; f < frames.Count; f++)
        {
            matches[f] = f == reference ? FieldMatch.Itself(n) : FieldMatch.Find(frames[reference], frames[f], options);
        }

        // What the reference does not reach, a frame between may: of two neighbors in a focus run one is blurred only a little more.
        for (bool again = true; again;)
        {
            again = false;
            foreach (int f in Enumerable.Range(0, frames.Count).Where(f => matches[f] is null))
            {
                foreach (int by in Enumerable.Range(0, frames.Count).Where(b => b != reference && matches[b] is not null).OrderBy(b => Math.Abs(b - f)))
                {
                    if (FieldMatch.Find(frames[by], frames[f], options) is { } step)
                    {
                        matches[f] = matches[by]!.Then(step);
                        again = true;
                        break;
                    }
                }
            }
        }

        for (int f = 0; f < frames.Count; f++)
        {
            for (int s = 0; s < n; s++)
            {
                index[f, s] = matches[f]?.Partner[s] ?? -1;
            }

            placements[f] = matches[f]?.Placement() ?? FieldPlacement.None(
                $"The {frames[f].X.Length} stars of {Label(frames, f)} do not fit those of {Label(frames, reference)} better than chance would. "
                + "Leave the frame out, or give one with less blur or more stars.");
        }

        (double[] ra, double[] dec) = SkyPositions(frames, index, n);
        return new FieldSet { Reference = reference, Index = index, Placements = [.. placements.Select(p => p!)], RaDeg = ra, DecDeg = dec };
    }

    private static string Label(IReadOnlyList<FieldStars> frames, int f) => frames[f].Name.Length > 0 ? frames[f].Name : $"frame {f}";

    private static (double[] Ra, double[] Dec) SkyPositions(IReadOnlyList<FieldStars> frames, int[,] index, int n)
    {
        double[] ra = new double[n];
        double[] dec = new double[n];
        Array.Fill(ra, double.NaN);
        Array.Fill(dec, double.NaN);
        for (int s = 0; s < n; s++)
        {
            for (int f = 0; f < frames.Count && double.IsNaN(ra[s]); f++)
            {
                int at = index[f, s];
                if (at >= 0 && frames[f].RaDeg.Length > 0 && double.IsFinite(frames[f].RaDeg[at]) && double.IsFinite(frames[f].DecDeg[at]))
                {
                    (ra[s], dec[s]) = (frames[f].RaDeg[at], frames[f].DecDeg[at]);
                }
            }
        }

        return (ra, dec);
    }

    private static void Check(IReadOnlyList<FieldStars> frames)
    {
        if (frames.Count == 0)
        {
            throw new InputException("field-set.empty", "No frames were given. Give the stars of at least one frame.", "frames");
        }

        for (int f = 0; f < frames.Count; f++)
        {
            FieldStars s = frames[f];
            int n = s.X.Length;
            bool sky = (s.RaDeg.Length == n && s.DecDeg.Length == n) || (s.RaDeg.Length == 0 && s.DecDeg.Length == 0);
            if (s.Y.Length != n || s.Flux.Length != n || s.Hfr.Length != n || !sky)
            {
                throw new InputException("field-set.lengths", $"The arrays of {Label(frames, f)} differ in length. Give one value a star in each.", "frames",
                    s.Name);
            }
        }
    }
}
