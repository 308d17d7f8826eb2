using System.Text.Json;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge;

/// <summary>The one place where an exception becomes what Python can translate.</summary>
internal static class ErrorWriter
{
    public static string Write(Exception exception)
    {
        Exception e = Peel(exception);
        (string kind, string code, string? argument, string? subject) = e switch
        {
            InputException x => ("input", x.Code, x.Argument, x.Subject),
            CannotMeasureException x => ("cannot-measure", x.Code, x.Argument, x.Subject),
            OperationCanceledException => ("cancelled", "job.cancelled", null, null),
            OutOfMemoryException => ("memory", "job.memory", null, null),
            _ => ("internal", "engine.internal", null, (string?)null),
        };
        return JsonSerializer.Serialize(new { kind, code, message = e.Message, argument, subject, trace = e.ToString() });
    }

    // Parallel loops wrap what one body throws.
    private static Exception Peel(Exception e) => e switch
    {
        AggregateException { InnerExceptions: [var only, ..] } => Peel(only),
        System.Reflection.TargetInvocationException { InnerException: Exception inner } => Peel(inner),
        _ => e,
    };
}
