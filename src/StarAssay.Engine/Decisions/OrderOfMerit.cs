using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>One instrument's value of the quantity in which instruments are compared.</summary>
/// <param name="Name">The instrument.</param>
/// <param name="Quantity">Its value.</param>
public sealed record InstrumentQuantity(string Name, Quantity Quantity);

/// <summary>Several instruments to be put in order.</summary>
public sealed record OrderRequest
{
    /// <summary>At least two, all with the same quantity.</summary>
    public required IReadOnlyList<InstrumentQuantity> Instruments { get; init; }

    /// <summary>Correlation of any two values (same camera, same night): -1 to 1.</summary>
    public double Correlation { get; init; }

    /// <summary>Coverage factor of the scores.</summary>
    public double CoverageFactor { get; init; } = 2;
}

/// <summary>Instruments in order of merit, each compared with the next by the one rule for two instruments.</summary>
/// <param name="Names">Best first.</param>
/// <param name="Order">Place of each in the request, best first.</param>
/// <param name="Decided">Whether each is told apart from the next; one fewer than names.</param>
/// <param name="Reasons">Each comparison in a sentence.</param>
public sealed record OrderOfMerit(IReadOnlyList<string> Names, IReadOnlyList<int> Order, IReadOnlyList<bool> Decided, IReadOnlyList<string> Reasons)
{
    /// <summary>Sorts and compares neighbors (<see cref="Comparison"/>).</summary>
    [EngineTask("decisions.order")]
    public static OrderOfMerit Of(OrderRequest request)
    {
        IReadOnlyList<InstrumentQuantity> all = request.Instruments;
        if (all.Count < 2)
        {
            throw new InputException("decision.comparison", "Give at least two instruments to compare.", "instruments");
        }

        QuantityDefinition kind = all[0].Quantity.Definition;
        if (all.FirstOrDefault(i => i.Quantity.Name != kind.Name) is InstrumentQuantity other)
        {
            throw new InputException("decision.comparison", $"{all[0].Name} brings '{kind.Name}', {other.Name} '{other.Quantity.Name}'. Compare in one " +
                "quantity.", "instruments", other.Name);
        }

        bool larger = kind.LargerIsBetter
            ?? throw new InputException("decision.comparison", $"Neither a larger nor a smaller {kind.Label} is the better one.", "instruments");

        // A value that was not measured comes last, whichever way is better.
        int[] order = [.. Enumerable.Range(0, all.Count).OrderBy(i => all[i].Quantity.Value.Value is double v && double.IsNaN(v) ? double.PositiveInfinity
            : larger ? -v : v)];
        var decided = new List<bool>();
        var reasons = new List<string>();
        for (int k = 0; k + 1 < order.Length; k++)
        {
            InstrumentQuantity a = all[order[k]], b = all[order[k + 1]];
            if (Doubt(a, b) is string doubt)
            {
                decided.Add(false);
                reasons.Add(doubt);
                continue;
            }

            Comparison c = Comparison.Of(new ComparisonRequest
            {
                Quantity = kind.Label,
                FirstName = a.Name,
                SecondName = b.Name,
                First = a.Quantity.Value.Value,
                FirstUncertainty = a.Quantity.Value.Uncertainty,
                Second = b.Quantity.Value.Value,
                SecondUncertainty = b.Quantity.Value.Uncertainty,
                Correlation = request.Correlation,
                Unit = kind.Unit,
                LargerIsBetter = larger,
                CoverageFactor = request.CoverageFactor,
            });
            decided.Add(c.Ranking == Ranking.First);
            reasons.Add(c.Reason);
        }

        return new OrderOfMerit([.. order.Select(i => all[i].Name)], order, decided, reasons);
    }

    // What must not decide a claim must not rank instruments either.
    private static string? Doubt(InstrumentQuantity a, InstrumentQuantity b)
    {
        foreach (InstrumentQuantity i in new[] { a, b })
        {
            if (i.Quantity.Doubts.Count > 0)
            {
                return $"{a.Name} and {b.Name} are not told apart: of {i.Name} it must be doubted: {i.Quantity.Doubts[0]}";
            }
        }

        double variance = (a.Quantity.Value.Uncertainty * a.Quantity.Value.Uncertainty) + (b.Quantity.Value.Uncertainty * b.Quantity.Value.Uncertainty);
        return variance > 0 && double.IsFinite(a.Quantity.Value.Value - b.Quantity.Value.Value)
            ? null
            : $"{a.Name} and {b.Name} are not told apart: both need a value with an uncertainty.";
    }
}
