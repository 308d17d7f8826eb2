using MathNet.Numerics.Distributions;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>Several measurements of one quantity.</summary>
public sealed record MeanRequest
{
    /// <summary>Their values.</summary>
    public required IReadOnlyList<double> Values { get; init; }

    /// <summary>Their standard uncertainties, without what they have in common.</summary>
    public required IReadOnlyList<double> Uncertainties { get; init; }

    /// <summary>Standard uncertainty that all of them share (scale, wavelength, telescope data).</summary>
    public double Common { get; init; }

    /// <summary>Unit of all of these.</summary>
    public string Unit { get; init; } = string.Empty;
}

/// <summary>One value for several measurements.</summary>
/// <param name="Result">Mean weighted by 1/u^2, with the common part in its uncertainty.</param>
/// <param name="RandomPart">Standard uncertainty without the common part.</param>
/// <param name="SystematicPart">The common part.</param>
/// <param name="BirgeRatio">Scatter over what the uncertainties promise; 1 when they are true, NaN for one value.</param>
/// <param name="DegreesOfFreedom">Infinite while the stated uncertainties stand; n - 1 when the scatter overrules them.</param>
/// <param name="Count">How many measurements went in.</param>
/// <param name="Notes">decision.scatter when the values scatter more than chance allows.</param>
public sealed record WeightedMean(
    Measured Result,
    double RandomPart,
    double SystematicPart,
    double BirgeRatio,
    double DegreesOfFreedom,
    int Count,
    IReadOnlyList<Note> Notes)
{
    /// <summary>Weighted mean; where the values scatter more than their uncertainties promise, the uncertainty is taken from the scatter.</summary>
    /// <remarks>Uncertainty times max(1, Birge ratio), R. T. Birge, Phys. Rev. 40, 207 (1932) (named from memory). Values
    /// that are NaN or carry no uncertainty are left out.</remarks>
    [EngineTask("decisions.mean")]
    public static WeightedMean Of(MeanRequest request)
    {
        if (request.Values.Count != request.Uncertainties.Count)
        {
            throw new InputException("decision.mean", $"There are {request.Values.Count} values but {request.Uncertainties.Count} uncertainties. Give one " +
                "for each.", "uncertainties");
        }

        if (!(request.Common >= 0))
        {
            throw new InputException("decision.mean", "The common uncertainty must be a number of at least 0.", "common");
        }

        (double V, double U)[] good = [.. request.Values.Zip(request.Uncertainties)
            .Where(x => double.IsFinite(x.First) && double.IsFinite(x.Second) && x.Second > 0)];
        if (good.Length == 0)
        {
            throw new CannotMeasureException("decision.mean", "None of the measurements gives a number with an uncertainty, so there is no mean. See the " +
                "notes of the single measurements.");
        }

        double weight = good.Sum(g => 1 / (g.U * g.U));
        double mean = good.Sum(g => g.V / (g.U * g.U)) / weight;
        double inner = 1 / Math.Sqrt(weight);
        double ratio = double.NaN;
        double degrees = double.PositiveInfinity;
        var notes = new List<Note>();
        if (good.Length > 1)
        {
            int free = good.Length - 1;
            double chiSquared = good.Sum(g => (g.V - mean) * (g.V - mean) / (g.U * g.U));
            ratio = Math.Sqrt(chiSquared / free);
            if (ratio > 1)
            {
                inner *= ratio;
                degrees = free;
            }

            if (chiSquared > ChiSquared.InvCDF(free, 0.99))
            {
                notes.Add(DecisionNotes.Scatter.Say(
                    $"{good.Length} measurements scatter {ratio:F1} times as much as their uncertainties promise; the uncertainty was taken from the " +
                        "scatter. Look for what changed between them: cooling, focus, seeing, clouds."));
            }
        }

        double total = Math.Sqrt((inner * inner) + (request.Common * request.Common));
        return new WeightedMean(new Measured(mean, total, request.Unit), inner, request.Common, ratio, degrees, good.Length, notes);
    }
}
