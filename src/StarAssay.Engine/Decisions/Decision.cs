using MathNet.Numerics.Distributions;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>The three answers.</summary>
public enum Verdict
{
    /// <summary>The range is kept, with no more than the agreed risk of being wrong.</summary>
    Met,

    /// <summary>The range is missed, with no more than the agreed risk of being wrong.</summary>
    NotMet,

    /// <summary>These data do not decide.</summary>
    NotDecided,
}

/// <summary>A claim and the measurement that is held against it.</summary>
public sealed record DecisionRequest
{
    /// <summary>The range that must be kept.</summary>
    public required Claim Claim { get; init; }

    /// <summary>Measured value in the claim's unit; NaN when there is none.</summary>
    public double Value { get; init; } = double.NaN;

    /// <summary>Its combined standard uncertainty.</summary>
    public double Uncertainty { get; init; } = double.NaN;

    /// <summary>The part of it that averages out over more frames; NaN when not known.</summary>
    public double RandomPart { get; init; } = double.NaN;

    /// <summary>By how much the true value may lie below the value besides its uncertainty: a bound; 0 = nothing.</summary>
    public double MayBeLess { get; init; }

    /// <summary>The same above the value.</summary>
    public double MayBeMore { get; init; }

    /// <summary>Degrees of freedom of the uncertainty.</summary>
    public double DegreesOfFreedom { get; init; } = double.PositiveInfinity;

    /// <summary>How many frames or pairs the value rests on.</summary>
    public int Count { get; init; } = 1;

    /// <summary>What is counted, in the plural: "pairs", "frames".</summary>
    public string Counted { get; init; } = "frames";

    /// <summary>Largest accepted probability that "met" or "not met" is wrong.</summary>
    public double Risk { get; init; } = 0.05;

    /// <summary>Reasons why the number must not decide, each a sentence; empty when there are none.</summary>
    public IReadOnlyList<string> Doubts { get; init; } = [];

    /// <summary>How the conditions of claim and measurement differ, a sentence; empty when they agree.</summary>
    public string OtherConditions { get; init; } = string.Empty;

    /// <summary>What test would give the number, when there is none: a sentence.</summary>
    public string MissingTest { get; init; } = string.Empty;
}

/// <summary>A decision with its grounds.</summary>
/// <param name="Verdict">Met, not met, or not decided.</param>
/// <param name="Claim">The claim.</param>
/// <param name="Result">What was measured.</param>
/// <param name="ProbabilityOfConformity">Probability that the true value keeps the range; NaN without a number. Where a bound in one
/// direction stands beside the uncertainty, the least (for "not met" the largest) that it allows.</param>
/// <param name="GuardBand">Distance from a limit within which nothing is decided, in the claim's unit.</param>
/// <param name="AcceptLower">Least measured value that is "met"; minus infinity when there is no lower limit.</param>
/// <param name="AcceptUpper">Largest measured value that is "met".</param>
/// <param name="Risk">Accepted probability of a wrong decision.</param>
/// <param name="CountNeeded">How many frames or pairs in all would decide if the value stays as it is; 0 when already
/// decided, infinite when no number would, NaN when it cannot be said.</param>
/// <param name="Reason">Why, in one sentence.</param>
/// <param name="NextTest">What would decide it; empty when it is decided.</param>
/// <param name="Notes">Doubts and reservations.</param>
public sealed record Decision(
    Verdict Verdict,
    Claim Claim,
    Measured Result,
    double ProbabilityOfConformity,
    double GuardBand,
    double AcceptLower,
    double AcceptUpper,
    double Risk,
    double CountNeeded,
    string Reason,
    string NextTest,
    IReadOnlyList<Note> Notes)
{
    /// <summary>Holds a measurement against a claim.</summary>
    /// <remarks>
    /// Guarded acceptance and guarded rejection in the sense of JCGM 106:2012 and ISO 14253-1 (named from memory): the
    /// guard band is z(1 - risk) standard uncertainties; "met" needs the value inside the range by that much and, for a
    /// range with two limits, a probability of conformity of at least 1 - risk; "not met" needs it outside by that much.
    /// The probability takes the measurement as all that is known: a normal distribution about the measured value
    /// (Student's t with few degrees of freedom), with no prior knowledge of what such telescopes usually are. A bound in one
    /// direction is taken at its worst, for "met" as for "not met"; with it a value may have no spread at all.
    /// </remarks>
    [EngineTask("decisions.decide")]
    public static Decision Decide(DecisionRequest request)
    {
        request.Claim.RequireValid();
        InputException.RequireRange(request.Risk, 1e-6, 0.4, "risk", string.Empty);
        if (request.DegreesOfFreedom < 1)
        {
            throw new InputException("decision.degrees", $"'{request.Claim.Name}': at least 1 degree of freedom is needed.", "degrees_of_freedom",
                request.Claim.Name);
        }

        Claim claim = request.Claim;
        double y = request.Value;
        double u = request.Uncertainty;
        var measured = new Measured(y, u, claim.Unit);
        double less = request.MayBeLess, more = request.MayBeMore;
        if (!(less >= 0) || !(more >= 0))
        {
            throw new InputException("decision.bound", $"'{claim.Name}': by how much the value may be less or more must be numbers of at least 0.",
                "may_be_less", claim.Name);
        }

        bool bounded = less > 0 || more > 0;
        if (!double.IsFinite(y) || !double.IsFinite(u) || u < 0 || (u == 0 && !bounded))
        {
            (string why, string then) = double.IsFinite(y)
                ? ($"The value {Words.Plain(y, claim.Unit)} has no known uncertainty.",
                    $"Take several {request.Counted}: their scatter gives the value its uncertainty.")
                : ("Nothing was measured that could be held against it.", request.MissingTest);
            return new Decision(Verdict.NotDecided, claim, measured, double.NaN, double.NaN, double.NaN, double.NaN, request.Risk, double.NaN, why, then, []);
        }

        double guard = u == 0 ? 0 : UncertaintyBudget.OneSidedFactor(1 - request.Risk, request.DegreesOfFreedom) * u;
        double[] ends = [ProbabilityOf(claim, y - less, u, request.DegreesOfFreedom), ProbabilityOf(claim, y + more, u, request.DegreesOfFreedom)];
        double low = claim.Lower + guard + less;
        double high = claim.Upper - guard - more;
        var notes = new List<Note>();
        if (low > high)
        {
            notes.Add(DecisionNotes.TooNarrow.Say(
                $"The range {claim.Range} is narrower than twice the guard band of {Words.Plain(guard, claim.Unit)}: this measurement can show that the " +
                    $"{claim.Word} is not met, never that it is met.", claim.Name));
        }

        Verdict verdict =
            y >= low && y <= high && ends.Min() >= 1 - request.Risk ? Verdict.Met
            : y <= claim.Lower - guard - more || y >= claim.Upper + guard + less ? Verdict.NotMet
            : Verdict.NotDecided;
        double probability = verdict == Verdict.NotMet ? ends.Max() : ends.Min();
        string reason = $"{Found(measured, less, more)} against {claim.Range}: the probability that the {claim.Word} is met is {Chance(ends)}.";
        double needed = 0;
        string next = string.Empty;
        if (verdict == Verdict.NotDecided)
        {
            (needed, next) = WhatWouldDecide(request, low > high);
        }

        if (request.OtherConditions.Length > 0)
        {
            notes.Add(DecisionNotes.OtherConditions.Say(request.OtherConditions, claim.Name));
            (verdict, needed, reason) = (Verdict.NotDecided, double.NaN, request.OtherConditions);
            next = request.MissingTest;
        }
        else if (request.Doubts.Count > 0)
        {
            notes.AddRange(request.Doubts.Select(d => DecisionNotes.Doubtful.Say(d, claim.Name)));
            (verdict, needed) = (Verdict.NotDecided, double.NaN);
            reason = $"{Found(measured, less, more)} was found, but must not decide: {request.Doubts[0]}";
            next = request.MissingTest;
        }

        return new Decision(verdict, claim, measured, probability, guard, low, high, request.Risk, needed, reason, next, notes);
    }

    /// <summary>Probability that the true value lies within the claim's range.</summary>
    /// <remarks>For the normal distribution Phi((TU - y)/u) - Phi((TL - y)/u), as in JCGM 106:2012 clause 7 (from memory).</remarks>
    public static double ProbabilityOf(Claim claim, double value, double uncertainty, double degreesOfFreedom = double.PositiveInfinity)
    {
        double Below(double limit)
        {
            if (double.IsInfinity(limit))
            {
                return limit > 0 ? 1 : 0;
            }

            if (uncertainty == 0)
            {
                return value < limit || (value == limit && limit == claim.Upper) ? 1 : 0;
            }

            double t = (limit - value) / uncertainty;
            return double.IsFinite(degreesOfFreedom) ? StudentT.CDF(0, 1, degreesOfFreedom, t) : Normal.CDF(0, 1, t);
        }

        return Math.Clamp(Below(claim.Upper) - Below(claim.Lower), 0, 1);
    }

    // The value as the reason gives it, with the bound where there is one.
    private static string Found(Measured m, double less, double more)
    {
        string text = Words.PlusMinus(m);
        string[] bounds = [.. new[] { (less, "less"), (more, "more") }.Where(b => b.Item1 > 0).Select(b => $"{Words.Rough(b.Item1, m.Unit)} {b.Item2}")];
        return bounds.Length == 0 ? text : $"{text} (at most {string.Join(" or ", bounds)})";
    }

    private static string Chance(double[] ends)
    {
        (string least, string most) = (Words.Percent(ends.Min()), Words.Percent(ends.Max()));
        return least == most ? least : $"between {least} and {most}";
    }

    // With n times the frames the random part falls as 1/sqrt(n) and the rest stays. Asked: the least n at which the
    // value, if it stays, clears the guard band of its nearest limit.
    private static (double Needed, string Text) WhatWouldDecide(DecisionRequest request, bool narrow)
    {
        Claim claim = request.Claim;
        double fromLower = Math.Abs(request.Value - claim.Lower), fromUpper = Math.Abs(claim.Upper - request.Value);
        double distance = Math.Min(fromLower, fromUpper);

        // What may be missing in one direction moves the value towards the limit it has to stay clear of.
        bool downwards = request.Value > (fromLower < fromUpper ? claim.Lower : claim.Upper);
        double bound = downwards ? request.MayBeLess : request.MayBeMore;
        if (bound > 0 && distance <= bound)
        {
            return (double.PositiveInfinity,
                $"More {request.Counted} will not decide it: the value may be {(downwards ? "less" : "more")} by up to {Words.Rough(bound, claim.Unit)} for " +
                    "reasons that do not average out, and that reaches over the limit. Use a second method that sees what this one leaves out.");
        }

        double allowed = (distance - bound) / Normal.InvCDF(0, 1, 1 - request.Risk);
        if (double.IsNaN(request.RandomPart))
        {
            return (double.NaN, $"A measurement with a standard uncertainty below {Words.Plain(allowed, claim.Unit)} would decide it, if the value stays.");
        }

        double variance = request.Uncertainty * request.Uncertainty;
        double random = Math.Min(request.RandomPart * request.RandomPart, variance);
        double fixedPart = variance - random;
        double room = (allowed * allowed) - fixedPart;
        if (room <= 0 || narrow)
        {
            return (double.PositiveInfinity,
                $"More {request.Counted} will not decide it: what they share, {Words.Rough(Math.Sqrt(fixedPart), claim.Unit)}, is too large by itself for a " +
                    "value this near to the limit. Measure the telescope's data (aperture, focal length, defocus, obstruction, wavelength) better, or use a " +
                    "second method.");
        }

        double needed = Math.Max(Math.Ceiling(request.Count * random / room), request.Count + 1);
        if (needed > 100 * (double)request.Count)
        {
            return (needed, $"The value is too near to the limit: more than {100 * request.Count} {request.Counted} would be needed. Treat it as lying on " +
                "the limit.");
        }

        return (needed, $"About {needed:F0} {request.Counted} like the {request.Count} at hand would decide it, if the value stays.");
    }
}
