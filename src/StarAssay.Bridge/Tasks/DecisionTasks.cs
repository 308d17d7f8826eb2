using StarAssay.Engine.Decisions;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge.Tasks;

/// <summary>Budgets, decisions, comparison and advice: small records in, small records out.</summary>
[TaskList]
internal static class DecisionTasks
{
    /// <summary>Combines the sources of uncertainty of one result.</summary>
    [EngineTask("decisions.budget")]
    public static UncertaintyBudget Budget(TaskInput input, RunContext context) => UncertaintyBudget.Combine(input.Request<BudgetRequest>());

    /// <summary>One value for several measurements.</summary>
    [EngineTask("decisions.mean")]
    public static WeightedMean Mean(TaskInput input, RunContext context) => WeightedMean.Of(input.Request<MeanRequest>());

    /// <summary>Holds one measurement against one claim.</summary>
    [EngineTask("decisions.decide")]
    public static Decision Decide(TaskInput input, RunContext context) => Decision.Decide(input.Request<DecisionRequest>());

    /// <summary>Compares two instruments in one quantity.</summary>
    [EngineTask("decisions.compare")]
    public static Comparison Compare(TaskInput input, RunContext context) => Comparison.Of(input.Request<ComparisonRequest>());

    /// <summary>What limits the images and what to adjust.</summary>
    [EngineTask("decisions.advise")]
    public static AdviceReport Advise(TaskInput input, RunContext context) => Advisor.Advise(input.Request<AdviceRequest>());
}
