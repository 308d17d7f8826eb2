using StarAssay.Engine.Results;
using StarAssay.Engine.Stars;

namespace StarAssay.Engine.Tests.Stars;

/// <summary>Truth: fields of made-up stars, moved, turned and blurred; images that overlap become one at their common center.</summary>
public class FieldSetTests
{
    private const int Width = 3000;
    private const int Height = 2000;

    /// <summary>A frame of a field, with the number in the field of each image's brightest star (-1 for what is no star), and whether that
    /// star has the image to itself.</summary>
    private sealed record Seen(FieldStars Stars, int[] Truth, bool[] Own);

    [Theory]
    [InlineData(15, 40, 0.0, 10.6, 0.9)] // few stars; discs of 30 px have a half-flux radius of 10.6
    [InlineData(15, 40, 1.5, 10.6, 0.9)]
    [InlineData(300, 40, -2.0, 10.6, 0.8)]
    [InlineData(2000, 60, 0.5, 2.0, 0.9)]
    public void Moved_and_blurred_frames_are_matched(int count, double shift, double turnDeg, double hfr, double least)
    {
        (int rightAll, int wrongAll) = (0, 0);
        for (int seed = 1; seed <= 20; seed++)
        {
            (double X, double Y, double Flux)[] field = Field(count, seed);
            Seen sharp = See(field, 0, 0, 0, 1.5, seed);
            Seen moved = See(field, shift, -0.6 * shift, turnDeg, hfr, seed + 100);
            FieldSet set = FieldSet.Match([sharp.Stars, moved.Stars]);
            FieldPlacement place = set.Placements[1 - set.Reference];
            Assert.True(place.Placed);
            Assert.Equal(set.Reference == 0 ? turnDeg : -turnDeg, place.TurnDeg, 0.03);
            Assert.Equal(1, place.Scale, 5e-4);
            (int right, int wrong) = Judge(set, [sharp, moved]);
            (rightAll, wrongAll) = (rightAll + right, wrongAll + wrong);

            // Of the stars that have an image of their own in the blurred frame.
            int possible = moved.Truth.Where((t, i) => t >= 0 && moved.Own[i] && sharp.Truth.Contains(t)).Count();
            Assert.True(right >= least * possible, $"{right} of {possible}, seed {seed}");
        }

        // What is no star, but stands within half a pixel of one that was not found, cannot be told from it: with 5 % of each among 2000
        // stars about once in 700,000 matches.
        Assert.True(wrongAll == 0, $"{wrongAll} wrong, {rightAll} right");
    }

    [Fact]
    public void Crowded_discs_are_left_out_rather_than_mistaken()
    {
        for (int seed = 1; seed <= 3; seed++)
        {
            // Seven stars of ten have a neighbor inside their disc.
            (double X, double Y, double Flux)[] field = Field(3500, seed, 0.564);
            Seen sharp = See(field, 0, 0, 0, 1.5, seed);
            Seen blurred = See(field, 40, 10, 0.3, 10.6, seed + 50);
            double crowded = 1 - (blurred.Own.Count(o => o) / (double)field.Length);
            Assert.InRange(crowded, 0.6, 0.8);
            FieldSet set = FieldSet.Match([sharp.Stars, blurred.Stars]);
            Assert.True(set.Placements[1].Placed);
            (int right, int wrong) = Judge(set, [sharp, blurred]);
            Assert.InRange(wrong, 0, 0.005 * (right + wrong));
            Assert.True(right > 200, $"{right}");
        }
    }

    [Fact]
    public void Other_fields_are_not_matched()
    {
        int placed = 0;
        for (int seed = 1; seed <= 200; seed++)
        {
            int count = seed % 2 == 0 ? 15 : 300;
            Seen one = See(Field(count, seed), 0, 0, 0, 1.5, seed);
            Seen other = See(Field(count, seed + 1000), 0, 0, 0, seed % 4 < 2 ? 10.6 : 1.5, seed + 5000);
            FieldSet set = FieldSet.Match([one.Stars, other.Stars]);
            placed += set.Placements.All(p => p.Placed) ? 1 : 0;
            FieldPlacement lost = set.Placements[1 - set.Reference];
            if (!lost.Placed)
            {
                Assert.Contains("better than chance", lost.Reason, StringComparison.Ordinal);
                Assert.All(Enumerable.Range(0, set.Count), s => Assert.Equal(-1, set.Index[1 - set.Reference, s]));
            }
        }

        Assert.Equal(0, placed);
    }

    [Fact]
    public void A_focus_run_is_matched_with_its_sky_positions()
    {
        (double X, double Y, double Flux)[] field = Field(80, 7);
        double[] sizes = [10.6, 7, 4, 2, 4, 7, 10.6];
        Seen[] run = [.. sizes.Select((hfr, k) => See(field, 12 * (k - 3), 5 * k, 0.1 * (k - 3), hfr, k))];
        FieldStars[] stars = [.. run.Select((r, k) => k == 3
            ? r.Stars with { RaDeg = [.. r.Truth.Select(t => 10 + (0.01 * t))], DecDeg = [.. r.Truth.Select(t => t % 5 == 0 ? double.NaN : 0.01 * t)] }
            : r.Stars)];
        FieldSet set = FieldSet.Match(stars);
        Assert.All(set.Placements, p => Assert.True(p.Placed));
        Assert.Equal(0, Judge(set, run).Wrong);
        Assert.True(set.InFrames(run.Length).Length > 40);
        for (int s = 0; s < set.Count; s++)
        {
            int truth = run[set.Reference].Truth[s];
            bool known = set.Index[3, s] >= 0 && truth % 5 != 0;
            Assert.Equal(known ? 10 + (0.01 * truth) : double.NaN, set.RaDeg[s]);
            Assert.Equal(known ? 0.01 * truth : double.NaN, set.DecDeg[s]);
        }
    }

    [Fact]
    public void Impossible_input_is_refused()
    {
        Assert.Throws<InputException>(() => FieldSet.Match([]));
        Assert.Throws<InputException>(() => FieldSet.Match([new FieldStars { Name = "bad", X = [1], Y = [], Flux = [1], Hfr = [1] }]));
        FieldStars few = new() { Name = "few", X = [1, 200, 90], Y = [1, 300, 50], Flux = [1, 2, 3], Hfr = [2, 2, 2] };
        Assert.False(FieldSet.Match([few, few]).Placements[1].Placed);
        FieldStars none = new() { X = [], Y = [], Flux = [], Hfr = [] };
        Assert.Equal(0, FieldSet.Match([none, none]).Count);
    }

    private static (int Right, int Wrong) Judge(FieldSet set, Seen[] frames)
    {
        (int right, int wrong) = (0, 0);
        for (int f = 0; f < frames.Length; f++)
        {
            for (int s = 0; f != set.Reference && s < set.Count; s++)
            {
                int at = set.Index[f, s];
                bool same = at >= 0 && frames[f].Truth[at] == frames[set.Reference].Truth[s] && frames[f].Truth[at] >= 0;
                right += same ? 1 : 0;
                wrong += at >= 0 && !same ? 1 : 0;
            }
        }

        return (right, wrong);
    }

    private static (double X, double Y, double Flux)[] Field(int count, int seed, double part = 1)
    {
        // Counts of stars rise as flux^-1 to the faint side (cumulative), about that of a real field.
        var random = new Random(seed);
        return [.. Enumerable.Range(0, count).Select(_ => (random.NextDouble() * Width * part, random.NextDouble() * Height * part, 1000 / (0.01 + random.NextDouble())))];
    }

    // Images nearer than a disc's radius are one, at the center of their light. Centers scatter by a hundredth of the radius of discs of
    // this brightness and never by less than 0.05 px; light by 2 %. Every twentieth is not found, and one more entry in twenty is no star.
    private static Seen See((double X, double Y, double Flux)[] field, double shiftX, double shiftY, double turnDeg, double hfr, int seed)
    {
        var random = new Random(1_000_003 + (7919 * seed)); // not the numbers that placed the stars
        double Normal() => Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
        (double sin, double cos) = Math.SinCos(turnDeg * Math.PI / 180);
        double reach = 1.41 * hfr;
        bool[] used = new bool[field.Length];
        var list = new List<(double X, double Y, double Flux, int Truth, bool Own)>();
        foreach (int i in Enumerable.Range(0, field.Length).OrderByDescending(i => field[i].Flux))
        {
            if (used[i])
            {
                continue;
            }

            int[] members = [.. Enumerable.Range(0, field.Length).Where(j => !used[j]
                && Math.Pow(field[j].X - field[i].X, 2) + Math.Pow(field[j].Y - field[i].Y, 2) < reach * reach)];
            double light = members.Sum(j => field[j].Flux);
            double x = members.Sum(j => field[j].Flux * field[j].X) / light, y = members.Sum(j => field[j].Flux * field[j].Y) / light;
            foreach (int j in members)
            {
                used[j] = true;
            }

            double scatter = Math.Max(0.05, 0.01 * hfr);
            double px = (cos * x) - (sin * y) + shiftX + (scatter * Normal()), py = (sin * x) + (cos * y) + shiftY + (scatter * Normal());
            bool own = members.Length == 1 || field[i].Flux > 0.9 * light;
            if (random.NextDouble() > 0.05 && px > 0 && py > 0 && px < Width && py < Height)
            {
                list.Add((px, py, light * (1 + (0.02 * Normal())), i, own));
            }

            if (random.NextDouble() < 0.05)
            {
                list.Add((random.NextDouble() * Width, random.NextDouble() * Height, light, -1, false));
            }
        }

        (double X, double Y, double Flux, int Truth, bool Own)[] order = [.. list.OrderByDescending(s => s.Flux)];
        return new Seen(
            new FieldStars
            {
                Name = $"frame {seed}",
                X = [.. order.Select(s => s.X)],
                Y = [.. order.Select(s => s.Y)],
                Flux = [.. order.Select(s => s.Flux)],
                Hfr = [.. order.Select(_ => hfr)],
            },
            [.. order.Select(s => s.Truth)],
            [.. order.Select(s => s.Own)]);
    }
}
