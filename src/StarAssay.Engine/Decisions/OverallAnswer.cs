using System.Globalization;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Decisions;

/// <summary>What to do with the telescope.</summary>
public enum Answer
{
    /// <summary>Keep it.</summary>
    Keep,

    /// <summary>Adjust what a user may adjust, and measure again.</summary>
    AdjustAndMeasureAgain,

    /// <summary>Give it back.</summary>
    Return,

    /// <summary>These data do not decide it.</summary>
    NotDecidedYet,
}

/// <summary>A claim or requirement with its verdict.</summary>
/// <param name="Name">For sentences.</param>
/// <param name="Verdict">Met, not met, not decided.</param>
/// <param name="Probability">That it is met; NaN without a number.</param>
/// <param name="NextTest">What would decide it.</param>
/// <param name="Welcome">True when it is welcome, but nothing hangs on it.</param>
/// <param name="Quantity">What it is about, by its name in <see cref="QuantityCatalog"/>; empty when not told.</param>
public sealed record JudgedClaim(string Name, Verdict Verdict, double Probability, string NextTest, bool Welcome = false, string Quantity = "");

/// <summary>All verdicts, and what hangs on them.</summary>
public sealed record AnswerRequest
{
    /// <summary>Every claim and requirement.</summary>
    public IReadOnlyList<JudgedClaim> Claims { get; init; } = [];

    /// <summary>What a user can adjust, in a word each: "coma", "focus".</summary>
    public IReadOnlyList<string> Adjustable { get; init; } = [];

    /// <summary>Until when it can be returned, as it is to be read; empty for no such date.</summary>
    public string ReturnBy { get; init; } = string.Empty;

    /// <summary>Days until then; NaN without a date, negative when it has passed.</summary>
    public double DaysLeft { get; init; } = double.NaN;

    /// <summary>What it costs to keep one that is not good enough, in any currency; NaN when not stated.</summary>
    public double CostOfKeeping { get; init; } = double.NaN;

    /// <summary>What it costs to return one that is good enough; NaN when not stated.</summary>
    public double CostOfReturning { get; init; } = double.NaN;
}

/// <summary>The answer that a lender, buyer or club can act on.</summary>
/// <param name="Answer">What to do.</param>
/// <param name="Sentence">The answer with its reason.</param>
/// <param name="NextStep">What to do next; empty when nothing is left.</param>
/// <param name="Costs">Which choice costs less in the mean when it must be made now; empty without stated costs or with nothing open.</param>
public sealed record OverallAnswer(Answer Answer, string Sentence, string NextStep, string Costs)
{
    /// <summary>Answers.</summary>
    /// <remarks>Never stronger than the verdicts: one that counts and is not met asks for an adjustment where one is known
    /// and may mend it, else for return; all
    /// met, for keeping; anything else is open. For the costs the chance that all that count are met is only known to lie between 1 - sum(1 - p)
    /// and the least p (Frechet's bounds, since the claims share frames): a choice is named when it costs less at both ends.</remarks>
    [EngineTask("decisions.answer")]
    public static OverallAnswer Of(AnswerRequest request)
    {
        JudgedClaim[] count = [.. request.Claims.Where(c => !c.Welcome)];
        if (count.Length == 0)
        {
            return new OverallAnswer(Answer.NotDecidedYet, "Not decided yet: no claim or requirement that counts was stated, so there is nothing to decide.",
                "Write under [[requirements]] what you need.", string.Empty);
        }

        string[] missed = Named(count, Verdict.NotMet), open = Named(count, Verdict.NotDecided);
        string until = Until(request);
        JudgedClaim[] unmet = [.. count.Where(c => c.Verdict == Verdict.NotMet)];
        (JudgedClaim Claim, string? By)[] mended = [.. unmet.Select(c => (c, MendedBy(c)))];
        string[] adjustable = [.. request.Adjustable.Where(by => unmet.Any(c => MayMend(by, c)))
            .Concat(mended.Select(m => m.By ?? string.Empty)).Where(by => by.Length > 0).Distinct()];
        string[] made = [.. mended.Where(m => m.By is { Length: 0 }).Select(m => $"'{m.Claim.Name}'")];
        if (missed.Length > 0 && adjustable.Length > 0 && made.Length == 0)
        {
            return new OverallAnswer(Answer.AdjustAndMeasureAgain,
                $"Adjust and measure again{until}: {Listed(missed)} {Are(missed)} not met, and {Listed(adjustable)} can be adjusted by the user.",
                "Follow the advice below, then take the same frames again and compare the two reports.", string.Empty);
        }

        if (missed.Length > 0)
        {
            return new OverallAnswer(Answer.Return,
                $"Return it{until}: {Listed(missed)} {Are(missed)} not met, and nothing that a user may adjust " +
                    (made.Length > 0 ? $"changes {Listed(made)}." : "was found to mend it."),
                open.Length > 0 ? $"{Listed(open)} need not be decided for that." : string.Empty, string.Empty);
        }

        if (open.Length == 0)
        {
            return new OverallAnswer(Answer.Keep,
                count.Length == 1 ? $"Keep it: {Listed([$"'{count[0].Name}'"])} is met." : $"Keep it: all {count.Length} that count are met.",
                string.Empty, string.Empty);
        }

        JudgedClaim first = count.First(c => c.Verdict == Verdict.NotDecided);
        return new OverallAnswer(Answer.NotDecidedYet,
            $"Not decided yet{Still(request)}: {Listed(open)} {Are(open)} open, {count.Length - open.Length} of {count.Length} that count are met.",
            first.NextTest, CheaperNow(request, count));
    }

    private static string? MendedBy(JudgedClaim claim) => claim.Quantity.Length == 0 ? null : QuantityCatalog.Find(claim.Quantity).MendedBy;

    private static bool MayMend(string by, JudgedClaim claim) =>
        claim.Quantity.Length == 0 || QuantityCatalog.Find(claim.Quantity).OnlyMendedBy is not { } only || only.Contains(by);

    private static string CheaperNow(AnswerRequest request, JudgedClaim[] count)
    {
        (double keeping, double returning) = (request.CostOfKeeping, request.CostOfReturning);
        if (double.IsNaN(keeping) || double.IsNaN(returning))
        {
            return string.Empty;
        }

        InputException.RequireRange(keeping, 0, 1e12, "cost_of_keeping", string.Empty);
        InputException.RequireRange(returning, 0, 1e12, "cost_of_returning", string.Empty);
        if (count.Any(c => double.IsNaN(c.Probability)))
        {
            return "The costs do not help while something that counts has no number.";
        }

        double least = Math.Max(0, 1 - count.Sum(c => 1 - c.Probability)), most = count.Min(c => c.Probability);
        double Excess(double p) => ((1 - p) * keeping) - (p * returning);
        string chance = Words.Percent(least) == Words.Percent(most) ? $"is {Words.Percent(most)}"
            : $"lies between {Words.Percent(least)} and {Words.Percent(most)}";
        string between = $"the chance that all that count are met {chance}";
        if (Excess(least) < 0 && Excess(most) < 0)
        {
            return $"If it must be decided now, keeping costs less in the mean: {between}, so that keeping costs at most {Whole((1 - least) * keeping)} and " +
                $"returning at least {Whole(least * returning)}.";
        }

        return Excess(least) > 0 && Excess(most) > 0
            ? $"If it must be decided now, returning costs less in the mean: {between}, so that returning costs at most {Whole(most * returning)} and " +
                $"keeping at least {Whole((1 - most) * keeping)}."
            : $"The costs do not tell what is better now: {between}.";
    }

    private static string Until(AnswerRequest request) => request.ReturnBy.Length == 0 ? string.Empty
        : request.DaysLeft < 0 ? $" (the return date, {request.ReturnBy}, has passed)" : $", by {request.ReturnBy}";

    private static string Still(AnswerRequest request) =>
        request.ReturnBy.Length == 0 || request.DaysLeft < 0 ? Until(request) : $" (it can be returned until {request.ReturnBy})";

    private static string[] Named(IEnumerable<JudgedClaim> claims, Verdict verdict) =>
        [.. claims.Where(c => c.Verdict == verdict).Select(c => $"'{c.Name}'")];

    private static string Are(string[] names) => names.Length == 1 ? "is" : "are";

    private static string Listed(string[] names) => names.Length == 1 ? names[0] : $"{string.Join(", ", names[..^1])} and {names[^1]}";

    private static string Whole(double cost) => cost.ToString("F0", CultureInfo.InvariantCulture);
}
