using StarAssay.Engine.Numerics;

namespace StarAssay.Engine.Stars;

/// <summary>The stars of one frame found again in another.</summary>
/// <remarks>Pairs of bright stars that keep their length and nearly their direction suggest where a frame lies; the place that brings the
/// most stars together is refined and believed only when chance would hardly do as well.</remarks>
internal sealed class FieldMatch
{
    // Enough for the place to be found, few enough for their pairs to be compared one by one.
    private const int Brightest = 40;

    // The center of a disc is uncertain by its unevenness: by a few per cent of its half-flux radius, and more beside a neighbor.
    private const double ShareOfRadius = 0.15;
    private const double LeastTolerancePx = 1.5;
    private const double ClosestTolerancePx = 0.5;

    // A neighbor of a tenth of the light moves a common center by up to a tenth of the distance.
    private const double NeighborLight = 0.1;

    // Half-flux radii within which the images of two stars are one. A uniform disc's radius is 1.41 of them.
    private const double OneImage = 1.5;

    private const double LargestFluxRatio = 3;
    private const double Chance = 1e-6;
    private const int FewestStars = 4;

    private readonly Similarity place;
    private readonly double rms;

    private FieldMatch(Similarity place, int[] partner, double rms)
    {
        this.place = place;
        Partner = partner;
        this.rms = rms;
    }

    /// <summary>For each star of the first frame its number in the second; -1 = not matched.</summary>
    public int[] Partner { get; }

    /// <summary>A frame matched with itself.</summary>
    public static FieldMatch Itself(int stars) => new(Similarity.None, [.. Enumerable.Range(0, stars)], 0);

    /// <summary>Finds the stars of one frame in another; null when no place is better than chance.</summary>
    public static FieldMatch? Find(FieldStars from, FieldStars to, FieldSetOptions options)
    {
        int[] first = BrightestOf(from), second = BrightestOf(to);
        if (Math.Min(first.Length, second.Length) < FewestStars)
        {
            return null;
        }

        double tolerance = Tolerance(from, first, to, second);
        List<Similarity> places = Places(from, first, to, second, tolerance, options);
        var near = new PointGrid(to.X, to.Y, second, tolerance);
        (Similarity best, int most) = (Similarity.None, 0);
        foreach (Similarity place in places)
        {
            int count = Count(from, first, near, place, tolerance);
            if (count > most)
            {
                (best, most) = (place, count);
            }
        }

        if (most < FewestStars || !BetterThanChance(most, first.Length, near, tolerance, places.Count))
        {
            return null;
        }

        var all = new PointGrid(to.X, to.Y, [.. Enumerable.Range(0, to.X.Length).Where(i => IsPlaced(to, i))], tolerance);
        int[] partner = [];
        double within = tolerance;
        for (int round = 0; round < 5; round++)
        {
            partner = Partners(from, to, all, best, tolerance, within);
            ((double X, double Y) From, (double X, double Y) To)[] pairs = PairsOf(from, to, partner);
            if (pairs.Length < FewestStars)
            {
                return null;
            }

            // Once the place is known, a star five times as far off as the usual one is another star.
            best = Similarity.Fit(pairs);
            within = Math.Min(tolerance, Math.Max(ClosestTolerancePx, 5 * Robust.Median(pairs.Select(p => Distance(best, p)))));
        }

        ((double X, double Y) From, (double X, double Y) To)[] last = PairsOf(from, to, partner);
        double rms = Math.Sqrt(last.Average(p => Math.Pow(Distance(best, p), 2)));
        return new FieldMatch(best, partner, rms);
    }

    /// <summary>This match followed by one that starts where it ends.</summary>
    public FieldMatch Then(FieldMatch next) =>
        new(place.Then(next.place), [.. Partner.Select(p => p < 0 ? -1 : next.Partner[p])], Math.Sqrt((rms * rms) + (next.rms * next.rms)));

    /// <summary>The place for those outside.</summary>
    public FieldPlacement Placement() => new(true, place.X, place.Y, place.TurnDeg, place.Scale, rms, Partner.Count(p => p >= 0), string.Empty);

    private static bool IsPlaced(FieldStars s, int i) => double.IsFinite(s.X[i]) && double.IsFinite(s.Y[i]) && s.Flux[i] > 0;

    private static int[] BrightestOf(FieldStars s) =>
        [.. Enumerable.Range(0, s.X.Length).Where(i => IsPlaced(s, i)).OrderByDescending(i => s.Flux[i]).ThenBy(i => i).Take(Brightest)];

    private static double Radius(FieldStars s, IEnumerable<int> which)
    {
        double[] known = [.. which.Select(i => s.Hfr[i]).Where(double.IsFinite)];
        return known.Length > 0 ? Robust.Median(known) : 2;
    }

    private static double Tolerance(FieldStars from, int[] first, FieldStars to, int[] second) =>
        LeastTolerancePx + (ShareOfRadius * (Radius(from, first) + Radius(to, second)));

    private static List<Similarity> Places(FieldStars from, int[] first, FieldStars to, int[] second, double tolerance, FieldSetOptions options)
    {
        (double X, double Y) P(FieldStars s, int i) => (s.X[i], s.Y[i]);
        (int I, int J, double Length)[] PairsIn(FieldStars s, int[] which) =>
            [.. from a in Enumerable.Range(0, which.Length)
                from b in Enumerable.Range(a + 1, which.Length - a - 1)
                let length = Math.Sqrt(Math.Pow(s.X[which[a]] - s.X[which[b]], 2) + Math.Pow(s.Y[which[a]] - s.Y[which[b]], 2))
                where length > 10 * tolerance
                orderby length
                select (which[a], which[b], length)];

        (double mx, double my) = (first.Average(i => from.X[i]), first.Average(i => from.Y[i]));
        (int I, int J, double Length)[] one = PairsIn(from, first), other = PairsIn(to, second);
        var places = new List<Similarity>();
        int begin = 0;
        foreach ((int i, int j, double length) in one)
        {
            double slack = (2 * tolerance) + (options.LargestScaleChange * length);
            while (begin < other.Length && other[begin].Length < length - slack - (options.LargestScaleChange * length))
            {
                begin++;
            }

            for (int k = begin; k < other.Length && other[k].Length <= length + slack; k++)
            {
                (int a, int b, double _) = other[k];
                foreach ((int p, int q) in new[] { (a, b), (b, a) })
                {
                    Similarity place = Similarity.Of(P(from, i), P(from, j), P(to, p), P(to, q));
                    (double x, double y) = place.At(mx, my);
                    double shift = Math.Sqrt(Math.Pow(x - mx, 2) + Math.Pow(y - my, 2));
                    if (shift <= options.LargestShiftPx && Math.Abs(place.TurnDeg) <= options.LargestTurnDeg
                        && Math.Abs(place.Scale - 1) <= options.LargestScaleChange + (2 * tolerance / length))
                    {
                        places.Add(place);
                    }
                }
            }
        }

        return places;
    }

    private static int Count(FieldStars from, int[] first, PointGrid near, Similarity place, double tolerance)
    {
        var taken = new HashSet<int>();
        foreach (int i in first)
        {
            (double x, double y) = place.At(from.X[i], from.Y[i]);
            int at = near.Nearest(x, y, tolerance, out _);
            if (at >= 0)
            {
                taken.Add(at);
            }
        }

        return taken.Count;
    }

    // Each star meets one by chance with the probability p that a circle of the tolerance holds one; two are met by construction.
    private static bool BetterThanChance(int count, int tried, PointGrid near, double tolerance, int places)
    {
        double p = 1 - Math.Exp(-Math.PI * tolerance * tolerance * near.Density);
        double tail = 0;
        for (int k = count - 2; k <= tried - 2; k++)
        {
            tail += MathNet.Numerics.Distributions.Binomial.PMF(Math.Min(p, 1), tried - 2, k);
        }

        return tail * places < Chance;
    }

    private static int[] Partners(FieldStars from, FieldStars to, PointGrid all, Similarity place, double tolerance, double within)
    {
        int n = from.X.Length;
        int[] partner = new int[n];
        Array.Fill(partner, -1);
        double usual = Radius(to, Enumerable.Range(0, to.X.Length).Where(i => IsPlaced(to, i)));
        int[] usable = [.. Enumerable.Range(0, n).Where(i => IsPlaced(from, i))];
        var own = new PointGrid(from.X, from.Y, usable, Math.Max(1, OneImage * usual));
        var claims = new Dictionary<int, int>();
        foreach (int i in usable)
        {
            (double x, double y) = place.At(from.X[i], from.Y[i]);
            int at = all.Nearest(x, y, tolerance, out bool alone);
            bool near = at >= 0 && Math.Pow(to.X[at] - x, 2) + Math.Pow(to.Y[at] - y, 2) <= within * within;
            if (!near || !alone || HasNeighbor(from, own, i, OneImage * (double.IsFinite(to.Hfr[at]) ? to.Hfr[at] : usual)))
            {
                continue;
            }

            // Two stars that claim one image: neither gets it.
            partner[i] = claims.TryAdd(at, i) ? at : -1;
            if (partner[i] < 0)
            {
                partner[claims[at]] = -1;
            }
        }

        return WithoutOddLight(from, to, partner);
    }

    private static double Distance(Similarity place, ((double X, double Y) From, (double X, double Y) To) pair)
    {
        (double x, double y) = place.At(pair.From.X, pair.From.Y);
        return Math.Sqrt(Math.Pow(x - pair.To.X, 2) + Math.Pow(y - pair.To.Y, 2));
    }

    private static bool HasNeighbor(FieldStars s, PointGrid own, int i, double reach) =>
        own.Within(s.X[i], s.Y[i], reach).Any(j => j != i && s.Flux[j] > NeighborLight * s.Flux[i]);

    // Exposure and transparency change all stars alike; one that differs from the rest is another star, or two in one.
    private static int[] WithoutOddLight(FieldStars from, FieldStars to, int[] partner)
    {
        double[] ratios = [.. partner.Select((p, i) => p < 0 ? double.NaN : Math.Log(to.Flux[p] / from.Flux[i]))];
        double[] known = [.. ratios.Where(double.IsFinite)];
        double usual = known.Length > 0 ? Robust.Median(known) : 0;
        return [.. partner.Select((p, i) => p >= 0 && Math.Abs(ratios[i] - usual) < Math.Log(LargestFluxRatio) ? p : -1)];
    }

    private static ((double X, double Y) From, (double X, double Y) To)[] PairsOf(FieldStars from, FieldStars to, int[] partner) =>
        [.. Enumerable.Range(0, partner.Length).Where(i => partner[i] >= 0).Select(i => ((from.X[i], from.Y[i]), (to.X[partner[i]], to.Y[partner[i]])))];
}
