using System.Diagnostics;

namespace StarAssay.Benchmarks;

/// <summary>Keeps the least time of each stage over some repeats, in the order in which the stages first ran.</summary>
internal sealed class StageClock
{
    private readonly Dictionary<string, double> least = [];
    private readonly Dictionary<string, double> notes = [];

    /// <summary>Runs a stage and notes its time.</summary>
    public T Time<T>(string stage, Func<T> run)
    {
        long start = Stopwatch.GetTimestamp();
        T made = run();
        double ms = Stopwatch.GetElapsedTime(start).TotalMilliseconds;
        least[stage] = Math.Min(ms, least.GetValueOrDefault(stage, double.MaxValue));
        return made;
    }

    /// <summary>Keeps a figure that is no time.</summary>
    public void Note(string what, double value) => notes[what] = value;

    /// <summary>One line a stage, then one a figure.</summary>
    public void Print()
    {
        foreach ((string stage, double ms) in least)
        {
            Console.WriteLine($"{stage,-40}{ms,8:F2} ms");
        }

        foreach ((string what, double value) in notes)
        {
            Console.WriteLine($"{what,-40}{value,8:F0}");
        }
    }
}
