using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>Quantities of several measurements of one thing: frames of one field, pairs of one star.</summary>
public sealed record CombineRequest
{
    /// <summary>The quantities of each measurement; one that has none takes no part.</summary>
    public required IReadOnlyList<IReadOnlyList<Quantity>> Measurements { get; init; }
}

/// <summary>Each quantity once, with the mean of all measurements that gave it.</summary>
/// <param name="Quantities">The means, in the order in which the quantities came first.</param>
/// <param name="Notes">Whether the measurements agree; the subject is the quantity's label.</param>
public sealed record CombinedQuantities(IReadOnlyList<Quantity> Quantities, IReadOnlyList<Note> Notes)
{
    // Beyond this two wavelengths are two conditions, as for claims.
    private const double SameWavelength = Judgment.SameWavelength;

    /// <summary>Means over the measurements.</summary>
    /// <remarks>Weighted by the random parts (<see cref="WeightedMean"/>). What the measurements share does not average: it is
    /// carried over with the weights of the mean, which is the law of propagation (JCGM 100:2008, 5.2.2) for inputs that are
    /// fully correlated. Where a random part is not known, all of the uncertainty counts as shared.</remarks>
    [EngineTask("decisions.combine")]
    public static CombinedQuantities Of(CombineRequest request) => Of(request.Measurements);

    /// <summary>Means over the measurements.</summary>
    public static CombinedQuantities Of(IReadOnlyList<IReadOnlyList<Quantity>> measurements)
    {
        var means = new List<Quantity>();
        var notes = new List<Note>();
        foreach (IGrouping<string, Quantity> of in measurements.SelectMany(m => m).GroupBy(q => q.Name))
        {
            means.Add(Mean([.. of], notes));
        }

        return new CombinedQuantities(means, notes);
    }

    private static Quantity Mean(Quantity[] all, List<Note> notes)
    {
        Quantity first = all[0];
        if (all.Length == 1)
        {
            return first;
        }

        foreach (Quantity q in all)
        {
            if (q.Value.Unit != first.Value.Unit)
            {
                throw new InputException("decision.mean", $"'{q.Name}' comes in '{first.Value.Unit}' and in '{q.Value.Unit}'. Give all values in one unit.",
                    "measurements");
            }

            if (Math.Abs((q.WavelengthNm / first.WavelengthNm) - 1) > SameWavelength)
            {
                throw new InputException("decision.mean",
                    $"The {first.Definition.Label} was measured at {first.WavelengthNm:G4} nm and at {q.WavelengthNm:G4} nm: these are two quantities and " +
                        "have no mean. Combine each wavelength by itself.", "measurements");
            }
        }

        Quantity[] good = [.. all.Where(q => double.IsFinite(q.Value.Value) && q.Value.Uncertainty >= 0 && double.IsFinite(q.Value.Uncertainty))];
        string[] doubts = [.. all.SelectMany(q => q.Doubts).Distinct()];
        if (good.Length < 2)
        {
            return (good.Length == 1 ? good[0] : first) with { Doubts = doubts };
        }

        // Weights by the random parts; where one is missing or zero by the whole; where that is zero too, all alike.
        bool known = good.All(q => q.RandomPart > 0);
        double[] own = [.. good.Select(q => known ? q.RandomPart : q.Value.Uncertainty)];
        if (!known && own.Any(u => u <= 0))
        {
            own = [.. good.Select(_ => 1.0)];
        }

        double[] weight = [.. own.Select(u => 1 / (u * u))];
        double sum = weight.Sum();
        double common = good.Zip(weight).Sum(x => x.Second / sum * (known ? Shared(x.First) : x.First.Value.Uncertainty));
        WeightedMean mean = WeightedMean.Of(new MeanRequest
        {
            Values = [.. good.Select(q => q.Value.Value)],
            Uncertainties = own,
            Common = common,
            Unit = first.Value.Unit
        });
        bool sure = known || good.Any(q => q.Value.Uncertainty > 0);
        notes.AddRange(mean.Notes.Where(_ => sure).Select(n => n with { Subject = first.Definition.Label }));
        return first with
        {
            Value = known ? mean.Result : mean.Result with { Uncertainty = common },
            RandomPart = known ? mean.RandomPart : double.NaN,
            CommonPart = known ? common : double.NaN,
            DegreesOfFreedom = double.IsFinite(mean.DegreesOfFreedom) && known ? mean.DegreesOfFreedom : good.Min(q => q.DegreesOfFreedom),
            Count = good.Sum(q => q.Count),
            MayBeLess = good.Max(q => q.MayBeLess),
            MayBeMore = good.Max(q => q.MayBeMore),
            Doubts = doubts,
        };
    }

    private static double Shared(Quantity q) => double.IsFinite(q.CommonPart)
        ? q.CommonPart
        : Math.Sqrt(Math.Max(0, (q.Value.Uncertainty * q.Value.Uncertainty) - (q.RandomPart * q.RandomPart)));
}
