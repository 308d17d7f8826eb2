using MathNet.Numerics.Distributions;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.Wavefront;

/// <summary>Steady change of the low modes from pair to pair, and scatter beyond what photons and seeing leave.</summary>
/// <remarks>
/// A straight line in time for each component. Its bar is that of the pairs' own variances, or of their scatter about the line where that is larger, by
/// Student's or Fisher's distribution then: with scatter that only the pairs tell, a few pairs tell little. Plumes and currents wander; pairs some
/// minutes apart are taken as independent of each other.
/// </remarks>
public static class CourseMaker
{
    /// <summary>Pairs that are needed, and hours that they have to span.</summary>
    internal const int LeastPairs = 3;

    /// <summary>Hours that they have to span.</summary>
    internal const double LeastSpanH = 0.25;

    // Accepted risk that a family is called changing, or the scatter too large, on a steady night: five of them make 1 % together.
    private const double Risk = 0.002;

    // From a scatter so unlikely by the pairs' own variances on it takes their place; at once, and every second steady night had too wide bars.
    private const double ScatterFrom = 0.2;

    // From a bend so unlikely by chance on it is the course's own and no scatter.
    private const double BendFrom = 0.2;

    // With plumes told, astigmatism and coma that creep have to be told so much better: early pairs that scatter more lie askew.
    private const double WithPlumes = 0.1;

    // For the scatter's fall, which is said only beside a scatter that is told.
    private const double SettlingRisk = 0.05;

    // Pairs from which early and late ones can be compared.
    private const int ForHalves = 6;

    // The wind is not known to better than this factor: so much more air than by the usual one is no mark of a tube.
    private const double SlowWind = 3;

    /// <summary>Families with their Noll numbers, the one of the first component first.</summary>
    internal static readonly (string Name, int[] Noll)[] Kinds =
        [("astigmatism", [6, 5]), ("coma", [8, 7]), ("spherical aberration", [11]), ("trefoil", [10, 9])];

    /// <summary>Follows the pairs; null for fewer than three, or within less than a quarter of an hour.</summary>
    [EngineTask("wavefront.course")]
    public static WavefrontCourse? Follow(CourseRequest request)
    {
        int n = request.TimeH.Length;
        if (request.CoefficientNm.Length != 7 * n || request.VarianceNm2.Length != 7 || request.AirNm2.Length != 7
            || request.FocusUm.Length is var f && f != 0 && f != n)
        {
            throw new InputException("wavefront.course", $"{n} pairs need seven coefficients each, and seven variances in all.", "time");
        }

        if (n < LeastPairs || !(request.TimeH[^1] - request.TimeH[0] >= LeastSpanH))
        {
            return null;
        }

        double[] hours = [.. request.TimeH.Select(t => t - request.TimeH[0])];
        double[] One(int noll) => [.. Enumerable.Range(0, n).Select(p => request.CoefficientNm[(7 * p) + noll - 5])];
        FamilyCourse[] families = [.. Kinds.Select(kind =>
        {
            double[] variance = [.. kind.Noll.Select(j => request.VarianceNm2[j - 5] + request.AirNm2[j - 5])];
            return Family(kind.Name, hours, [.. kind.Noll.Select(One)], variance);
        })];
        bool focus = request.FocusUm.Length == n && request.FocusUm.All(double.IsFinite);
        (Measured drift, double chance) = focus ? Drift(hours, request) : (Measured.None("um / h"), 1);

        // Scatter of astigmatism and coma beside the line that each of their components has.
        double[][] rest = [.. new[] { 5, 6, 7, 8 }.Select(j => Line.Of(hours, One(j)).Rest)];
        double[] slow = [.. new[] { 5, 6, 7, 8 }.Select(j => request.VarianceNm2[j - 5] + (SlowWind * request.AirNm2[j - 5]))];
        int freedom = 4 * (n - 2);
        double chi = rest.Select((r, k) => r.Sum(v => v * v) / slow[k]).Sum(), probability = 1 - ChiSquared.CDF(freedom, chi);
        bool unsteady = probability < Risk;
        if (unsteady)
        {
            families = [.. families.Select((family, k) => k < 2 ? family with { Told = family.Probability < WithPlumes * Risk } : family)];
        }

        double late = double.NaN, falls = 1;
        if (n >= ForHalves)
        {
            // Residuals about a line of their own in each half would leave too few; those about the common line are nearly as independent.
            int half = n / 2;
            double early = rest.Sum(r => r[..half].Sum(v => v * v)) / half, end = rest.Sum(r => r[^half..].Sum(v => v * v)) / half;
            late = Math.Sqrt(end / early);
            falls = FisherSnedecor.CDF(4 * (half - 1), 4 * (half - 1), end / early);
        }

        return new WavefrontCourse
        {
            Time = hours,
            Families = families,
            Changing = families.Any(family => family.Told),
            FocusDrift = drift,
            FocusUm = focus ? request.FocusUm : [.. Enumerable.Repeat(double.NaN, n)],
            FocusMoves = chance < Risk,
            ScatterNm = Math.Sqrt(rest.Sum(r => r.Sum(v => v * v)) / freedom),
            ExpectedScatterNm = Math.Sqrt(slow.Average()),
            ScatterProbability = probability,
            Unsteady = unsteady,
            LateOverEarly = late,
            Settling = unsteady && falls < SettlingRisk,
        };
    }

    private static FamilyCourse Family(string name, double[] hours, double[][] parts, double[] variance)
    {
        Line[] lines = [.. parts.Select(p => Line.Of(hours, p))];
        int n = hours.Length;

        // Over their own variances: the parts of a family need not be known alike.
        (double seen, int freedom) = Scatter([.. lines.Select(l => l.Rest)], variance);
        if (parts.Length == 1 && n > LeastPairs + 1)
        {
            (seen, freedom) = WithoutBend(lines[0].Rest, hours, variance[0], seen, freedom);
        }

        bool scatters = 1 - ChiSquared.CDF(freedom, freedom * seen) < ScatterFrom;
        double used = scatters ? seen : 1;
        double[] bars = [.. variance.Select(v => Math.Sqrt(used * v / lines[0].Sxx))];
        double square = lines.Sum(l => l.Slope * l.Slope);

        // Over the larger variance the share follows chi squared, or Fisher's distribution where only the scatter told it.
        double share = lines.Select((l, k) => Math.Pow(l.Slope / bars[k], 2)).Average();
        double probability = scatters ? 1 - FisherSnedecor.CDF(parts.Length, freedom, share) : 1 - ChiSquared.CDF(parts.Length, share * parts.Length);
        Measured Part(int k) => k < parts.Length ? new Measured(lines[k].Slope, bars[k], "nm / h") : Measured.None("nm / h");
        double size = parts.Length == 1 ? lines[0].Slope : Math.Sqrt(square);
        double bar = square > 0 ? Math.Sqrt(lines.Select((l, k) => Math.Pow(l.Slope * bars[k], 2)).Sum() / square) : bars.Max();
        return new FamilyCourse(name, parts[0], parts.Length > 1 ? parts[1] : [.. Enumerable.Repeat(double.NaN, n)], Math.Sqrt(used * variance.Average()),
            Part(0), Part(1), new Measured(size, bar, "nm / h"), probability, probability < Risk);
    }

    /// <summary>Mean square of what lines leave, over the variances, and its degrees of freedom.</summary>
    private static (double Seen, int Freedom) Scatter(double[][] rest, double[] variance)
    {
        int freedom = rest.Length * (rest[0].Length - 2);
        return (rest.Select((r, k) => r.Sum(v => v * v) / variance[k]).Sum() / freedom, freedom);
    }

    /// <summary>The same without the bend, where the course has one.</summary>
    /// <remarks>A mirror cools ever more slowly: that its course bends is no scatter of the pairs, and makes the line's slope no less sure. Of
    /// astigmatism and coma it is not taken out, since plumes that die away look like that.</remarks>
    private static (double Seen, int Freedom) WithoutBend(double[] rest, double[] hours, double variance, double seen, int freedom)
    {
        // The square of the time, and what a line leaves of it.
        double[] bow = Line.Of(hours, [.. hours.Select(t => t * t)]).Rest;
        double share = rest.Zip(bow).Sum(v => v.First * v.Second) / bow.Sum(v => v * v);
        double left = rest.Zip(bow).Sum(v => Math.Pow(v.First - (share * v.Second), 2)) / variance;
        double gain = ((seen * freedom) - left) / (left / (freedom - 1));
        return 1 - FisherSnedecor.CDF(1, freedom - 1, gain) < BendFrom ? (left / (freedom - 1), freedom - 1) : (seen, freedom);
    }

    private static (Measured Drift, double Probability) Drift(double[] hours, CourseRequest request)
    {
        Line line = Line.Of(hours, request.FocusUm);
        int freedom = hours.Length - 2;
        double own = request.FocusUncertaintyUm * request.FocusUncertaintyUm, seen = line.Rest.Sum(v => v * v) / freedom;
        double bar = Math.Sqrt(Math.Max(own, seen) / line.Sxx), t = Math.Abs(line.Slope) / bar;
        double tail = seen > own ? 1 - StudentT.CDF(0, 1, freedom, t) : 1 - Normal.CDF(0, 1, t);
        return (new Measured(line.Slope, bar, "um / h"), 2 * tail);
    }

    /// <summary>A straight line by least squares, all points alike.</summary>
    private sealed record Line(double Slope, double Sxx, double[] Rest)
    {
        public static Line Of(double[] x, double[] y)
        {
            double mx = x.Average(), my = y.Average(), sxx = x.Sum(v => (v - mx) * (v - mx));
            double slope = x.Zip(y).Sum(v => (v.First - mx) * (v.Second - my)) / sxx;
            return new Line(slope, sxx, [.. x.Zip(y).Select(v => v.Second - my - (slope * (v.First - mx)))]);
        }
    }
}
