using StarAssay.Engine.Optics;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Measurements.ComaAxis;

/// <summary>Where the coma-free axis meets the sensor, from the coma of single stars.</summary>
public static class ComaAxisMeasurement
{
    /// <summary>Stars that are needed: from three on the law can be checked.</summary>
    private const int LeastStars = 3, Few = 5;

    // Stars nearer to their middle than this share of half the diagonal stand at one place.
    private const double LeastSpread = 0.05;

    // Probability of chi squared below which the law is called wrong, if stars also lie off it by so many nm, or by such a share of the largest
    // coma: bright stars tell tenths of a nm, and that air and pixels leave one or two differently in each is no fault of the law.
    private const double Wrong = 1e-3, MattersNm = 3, MattersShare = 0.05;

    // A star so many standard deviations off the law of at least four others, which its own part is in, is left out: a disc with much coma can be
    // fitted beside the right minimum.
    private const double FarOff = 6;
    private const int OthersLeast = 4;

    /// <summary>Finds the axis.</summary>
    /// <exception cref="InputException">Lists of unequal length, a value out of range.</exception>
    /// <exception cref="CannotMeasureException">Fewer than three stars, or all at one place.</exception>
    [Measurement("coma_axis", "Coma-free axis")]
    public static ComaAxisResult Measure(ComaAxisRequest request, RunContext context)
    {
        FieldRules.Require(request);
        Check(request);
        context.Report(0.5, "fitting coma over the field");
        (request, string left) = WithoutFar(request);
        int n = request.X.Count;
        var law = ComaLaw.Of(request);
        ComaFreePoint Place(Measured? known) =>
            ComaFreePoint.Of(law.Values, law.Covariance, request.Width, request.Height, request.PitchUm, known);
        double ratio = request.FocalLengthMm / request.ApertureMm;
        ComaFreePoint free = Place(null);
        ComaFreePoint? byTheory = request.Paraboloid ? Place(ComaFreePoint.ParaboloidSlope(ratio, request.ScaleUncertainty)) : null;
        ComaFreePoint used = byTheory is { Verdict: not ComaFreeVerdict.NotTold } ? byTheory : free;
        List<Note> notes = Notes(request, law, free, byTheory, used);
        if (left.Length > 0)
        {
            notes.Add(ComaAxisNotes.FarOff.Say(left));
        }

        string[] doubts = [.. notes.Where(note => note.Level == NoteLevel.Doubt).Select(note => note.Text)];
        double arcmin = 180 * 60 / Math.PI / (1000 * request.FocalLengthMm);
        (double X, double Y)[] bars = [.. Enumerable.Range(0, n).Select(i => law.Bars(request, i))];
        return new ComaAxisResult
        {
            ComaFree = free,
            ComaFreeByTheory = byTheory,
            TheoryUsed = ReferenceEquals(used, byTheory),
            ComaMiddleX = new Measured(law.Values[0], Math.Sqrt(law.Covariance[0, 0]), "nm"),
            ComaMiddleY = new Measured(law.Values[1], Math.Sqrt(law.Covariance[1, 1]), "nm"),
            MirrorTurn = request.Paraboloid && used.Verdict == ComaFreeVerdict.Told
                ? new Measured(arcmin * used.Distance.Value, arcmin * used.Distance.Uncertainty, "arcmin") : Measured.None("arcmin"),
            StarX = [.. request.X],
            StarY = [.. request.Y],
            StarComaX = [.. request.ComaX],
            StarComaY = [.. request.ComaY],
            StarComaXUncertaintyNm = [.. bars.Select(b => b.X)],
            StarComaYUncertaintyNm = [.. bars.Select(b => b.Y)],
            ResidualX = [.. law.Rest.Select(r => r[0])],
            ResidualY = [.. law.Rest.Select(r => r[1])],
            Law = law.Values,
            ChiSquared = law.ChiSquared,
            DegreesOfFreedom = law.Freedom,
            Probability = law.Probability,
            Width = request.Width,
            Height = request.Height,
            PitchUm = request.PitchUm,
            WavelengthNm = request.WavelengthNm,
            Decided = doubts.Length == 0 && used.Verdict != ComaFreeVerdict.NotTold,
            Quantities = [used.Claimed(ComaAxisQuantities.Distance, request.WavelengthNm, doubts) with
            {
                Count = n,
                Counted = "stars",
                DegreesOfFreedom = law.Scatters ? law.Freedom : double.PositiveInfinity,
            }],
            Notes = [.. notes.OrderByDescending(note => note.Level)],
        };
    }

    // The star without which the others agree best goes if it is far off them.
    private static (ComaAxisRequest Kept, string Left) WithoutFar(ComaAxisRequest request)
    {
        int n = request.X.Count;
        if (n <= OthersLeast || !(ComaLaw.Of(request).Probability < Wrong))
        {
            return (request, "");
        }

        (int i, ComaAxisRequest rest, ComaLaw law) = Enumerable.Range(0, n).Select(i => (i, Without(request, i)))
            .Select(p => (p.i, p.Item2, Law: ComaLaw.Of(p.Item2))).MinBy(p => p.Law.ChiSquared);
        (double x, double y) = law.At(request, i);
        (double barX, double barY) = law.Bars(request, i);
        double offX = request.ComaX[i] - x, offY = request.ComaY[i] - y, off = Math.Sqrt((offX * offX) + (offY * offY));
        bool far = off > MattersNm && Math.Sqrt((offX * offX / (barX * barX)) + (offY * offY / (barY * barY))) > FarOff;
        return !far ? (request, "") : (rest,
            $"The star at ({request.X[i]:0}, {request.Y[i]:0}) was left out: its coma lies {off:0} nm off the law of the {n - 1} others. Look at its disc: a "
            + "neighbor, a cut, or so much coma that the fit went astray.");
    }

    private static ComaAxisRequest Without(ComaAxisRequest request, int star)
    {
        IReadOnlyList<double> Others(IReadOnlyList<double> all) => [.. all.Where((_, i) => i != star)];
        return request with
        {
            X = Others(request.X),
            Y = Others(request.Y),
            ComaX = Others(request.ComaX),
            ComaY = Others(request.ComaY),
            VarianceX = Others(request.VarianceX),
            VarianceY = Others(request.VarianceY),
            Covariance = Others(request.Covariance),
            AirNm = Others(request.AirNm),
        };
    }

    private static List<Note> Notes(ComaAxisRequest request, ComaLaw law, ComaFreePoint free, ComaFreePoint? byTheory, ComaFreePoint used)
    {
        int n = request.X.Count;
        List<Note> notes =
        [
            ComaAxisNotes.Method.Say($"The coma of {n} stars, each from its own disc, by the law of third order whose middle may lie anywhere; weighted least "
                + $"squares, chi squared {law.ChiSquared:0.0} for {law.Freedom} degrees of freedom. "
                + $"What moving air leaves was taken {(request.Together ? "as the same in all stars" : "for each star by itself")}."),
        ];
        double off = Math.Sqrt(law.Rest.Sum(r => (r[0] * r[0]) + (r[1] * r[1])) / law.Freedom);
        double largest = Math.Sqrt(Enumerable.Range(0, n).Max(i => (request.ComaX[i] * request.ComaX[i]) + (request.ComaY[i] * request.ComaY[i])));
        if (law.Probability < Wrong && off > Math.Max(MattersNm, MattersShare * largest))
        {
            notes.Add(ComaAxisNotes.NotLinear.Say(
                $"The stars' coma does not follow the law: {off:0.0} nm off it, chi squared {law.ChiSquared:0.0} for {law.Freedom} degrees of freedom. "
                + "Look at the arrows: one that is far off has a neighbor or a cut disc; all off, and there is more than coma of third order (a corrector at a "
                + "wrong distance, pupils cut toward the corners)."));
        }
        else if (law.Scatters)
        {
            notes.Add(ComaAxisNotes.Scatter.Say(
                $"The stars scatter about the law by {off:0.0} nm, {Math.Sqrt(law.ChiSquared / law.Freedom):0.0} times their bars: each has "
                + $"{law.Own:0.0} nm of its own (air, what the fit of its disc misses), which the bars of the place hold."));
        }

        if (n < Few)
        {
            notes.Add(ComaAxisNotes.Few.Say($"Only {n} stars: whether the law holds can hardly be seen. Six or more all over the sensor are better."));
        }

        if (byTheory is { Verdict: ComaFreeVerdict.NotTold })
        {
            notes.Add(ComaAxisNotes.NotParaboloid.Say($"The place without coma is not told with a paraboloid's coma. {byTheory.Reason}"));
        }

        if (used.Reason.Length > 0)
        {
            notes.Add(ComaAxisNotes.NotTold.Say($"Where the coma-free axis meets the sensor is not told. {used.Reason}"));
        }

        if (request.Doubtful.Count > 0)
        {
            notes.Add(ComaAxisNotes.DoubtfulStar.Say($"Left out, since they are in doubt by themselves: {string.Join("; ", request.Doubtful)}"));
        }

        if (used.Verdict != ComaFreeVerdict.NotTold)
        {
            notes.Add(ComaAxisNotes.Turning.Say(
                "Turn one screw by an eighth of a turn at a time, note which and how far, bring the field back with the mount, and measure again. Only screws "
                + "that the maker means for the owner: a lens cell is the maker's or a qualified optician's to open. Never point a telescope at or near the "
                + "Sun. Local rules come first."));
        }

        return notes;
    }

    private static void Check(ComaAxisRequest request)
    {
        int n = request.X.Count;
        double half = 0.5 * Math.Sqrt(((double)request.Width * request.Width) + ((double)request.Height * request.Height));
        int[] counts = [request.Y.Count, request.ComaX.Count, request.ComaY.Count, request.VarianceX.Count, request.VarianceY.Count, request.Covariance.Count,
            request.AirNm.Count];
        if (counts.Any(c => c != n))
        {
            throw new InputException("coma-axis.counts", $"{n} stars need {n} values of everything.", "x");
        }

        for (int i = 0; i < n; i++)
        {
            double xx = request.VarianceX[i], yy = request.VarianceY[i], xy = request.Covariance[i];
            if (!(xx > 0 && yy > 0 && xy * xy < xx * yy))
            {
                throw new InputException("coma-axis.covariance", $"Star {i + 1}: the variances of its coma are no covariance matrix.", "variance_x");
            }
        }

        if (n < LeastStars)
        {
            throw new CannotMeasureException("coma-axis.few-stars",
                $"{n} star(s) serve; {LeastStars} at different places of the sensor are needed, better six or more. Expose longer, or name their places.");
        }

        double x = request.X.Average(), y = request.Y.Average();
        if (Enumerable.Range(0, n).All(i => Math.Pow(request.X[i] - x, 2) + Math.Pow(request.Y[i] - y, 2) < Math.Pow(LeastSpread * half, 2)))
        {
            throw new CannotMeasureException("coma-axis.one-place", "All stars stand at one place of the sensor. Take stars at different places.");
        }
    }
}
