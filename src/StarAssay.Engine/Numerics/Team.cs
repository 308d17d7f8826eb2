namespace StarAssay.Engine.Numerics;

/// <summary>A few workers that share out numbered items. Which worker takes an item never shows in the result: items are
/// independent and every sum over items is made afterwards, in order.</summary>
internal sealed class Team
{
    private readonly FftScratch[] scratch;
    private readonly CancellationToken cancel;
    private readonly Crew? crew;

    /// <summary>Makes a team.</summary>
    public Team(int threads, CancellationToken cancel)
    {
        this.cancel = cancel;
        scratch = [.. Enumerable.Range(0, Math.Max(1, threads)).Select(_ => new FftScratch())];
        crew = Workers > 1 ? new Crew(Workers - 1) : null;
    }

    /// <summary>How many workers.</summary>
    public int Workers => scratch.Length;

    /// <summary>The work space of one worker.</summary>
    public FftScratch Scratch(int worker) => scratch[worker];

    /// <summary>Runs body(item, worker) for every item from 0 to items - 1.</summary>
    public void For(int items, Action<int, int> body)
    {
        cancel.ThrowIfCancellationRequested();
        if (crew is not null && items > 1 && crew.Run(items, body))
        {
            return;
        }

        for (int i = 0; i < items; i++)
        {
            body(i, 0);
        }
    }

    /// <summary>A whole pass over columns 0 to <paramref name="columns"/>, shared out in blocks.</summary>
    public void Pass(Fft fft, SplitMatrix source, int rows, int rowShift, SplitMatrix target, int first, int count, int columns)
    {
        if (Workers == 1)
        {
            fft.Pass(source, rows, rowShift, target, first, count, 0, columns, scratch[0]);
            return;
        }

        int blocks = Fft.Padded(columns) / Fft.Lanes;
        int parts = Math.Min(blocks, 2 * Workers);
        For(parts, (part, worker) =>
        {
            int begin = blocks * part / parts * Fft.Lanes;
            int end = Math.Min(columns, blocks * (part + 1) / parts * Fft.Lanes);
            fft.Pass(source, rows, rowShift, target, first, count, begin, end, scratch[worker]);
        });
    }
}
