namespace StarAssay.Engine.Results;

/// <summary>
/// Base of all errors the engine raises knowingly. The message is one or two sentences for the person at the
/// telescope: what is wrong, in which file or star, what to do.
/// </summary>
/// <remarks>Which error when: <see cref="InputException"/> for a request that can never work as given (shape, range,
/// contradiction), <see cref="CannotMeasureException"/> for good input that does not hold the measurement (no stars,
/// saturated, same side of focus). What leaves a usable number is a <see cref="Note"/>, not an error.</remarks>
public abstract class StarAssayException : Exception
{
    private protected StarAssayException(string code, string message, string? argument, string? subject, Exception? inner)
        : base(message, inner)
    {
        Code = code;
        Argument = argument;
        Subject = subject;
    }

    /// <summary>Stable name of the case, "area.what".</summary>
    public string Code { get; }

    /// <summary>The request's field that is wrong, or null.</summary>
    public string? Argument { get; }

    /// <summary>The file, star or frame it speaks of, or null.</summary>
    public string? Subject { get; }
}

/// <summary>The request can never work as given.</summary>
public sealed class InputException(string code, string message, string? argument = null, string? subject = null, Exception? inner = null)
    : StarAssayException(code, message, argument, subject, inner)
{
    /// <summary>Throws unless <paramref name="value"/> is finite and within the closed range.</summary>
    public static void RequireRange(double value, double low, double high, string argument, string unit)
    {
        if (!(value >= low && value <= high))
        {
            // Six digits: an input of 540 um must not come back as 539999.9999999999 nm.
            string of = unit.Length > 0 ? " " + unit : "";
            throw new InputException("input.range",
                $"{argument} is {value:G6}{of}; it must lie between {low:G6} and {high:G6}{of}. Correct it in the call or the campaign file.",
                argument);
        }
    }
}

/// <summary>The input is sound, but does not hold the measurement that was asked for.</summary>
public sealed class CannotMeasureException(string code, string message, string? subject = null, Exception? inner = null)
    : StarAssayException(code, message, null, subject, inner);
