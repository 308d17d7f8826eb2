namespace StarAssay.Engine.Results;

/// <summary>What a measurement gets besides its request: how many threads, whether to stop, where to say how far it is.
/// None of it may change the result.</summary>
public sealed class RunContext
{
    private readonly Action<double, string>? report;

    /// <summary>Makes a context.</summary>
    /// <param name="threads">Worker threads; 0 means one for each processor.</param>
    /// <param name="report">Receives the fraction done (0 to 1) and a short phrase.</param>
    /// <param name="cancel">Cancellation, looked at several times a second.</param>
    public RunContext(int threads = 0, Action<double, string>? report = null, CancellationToken cancel = default)
    {
        Threads = threads > 0 ? threads : Environment.ProcessorCount;
        Cancel = cancel;
        this.report = report;
    }

    /// <summary>A context with all processors, no progress and no cancellation.</summary>
    public static RunContext Default => new();

    /// <summary>Worker threads to use, at least 1.</summary>
    public int Threads { get; }

    /// <summary>Ask <see cref="CancellationToken.ThrowIfCancellationRequested"/> at least every 0.2 s.</summary>
    public CancellationToken Cancel { get; }

    /// <summary>Options for Parallel.For with this context's threads and cancellation.</summary>
    public ParallelOptions Parallel => new() { MaxDegreeOfParallelism = Threads, CancellationToken = Cancel };

    /// <summary>Says how far the work is.</summary>
    public void Report(double fraction, string phrase) => report?.Invoke(fraction, phrase);
}
