using System.Text.RegularExpressions;
using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Architecture;

/// <summary>Rules of the house that the compiler cannot keep.</summary>
public partial class ArchitectureTests
{
    [Fact]
    public void Engine_knows_no_Python()
    {
        string[] names = [.. typeof(Note).Assembly.GetReferencedAssemblies().Select(a => a.Name!)];
        Assert.Contains("System.Runtime", names);
        Assert.DoesNotContain(names, n => n.Contains("Python", StringComparison.OrdinalIgnoreCase));
    }

    // Pixels and requests come in, results go out: a result that depends on a file, the clock, the surroundings or an unseeded random
    // number could not be had twice.
    [Fact]
    public void Engine_touches_no_files_console_network_clock_or_unseeded_random_numbers()
    {
        SortedSet<string> uses = OutsideUses.Of(typeof(Note).Assembly.Location);
        Assert.Contains("System.Math.Sqrt/1", uses);
        string[] wrong = [.. uses.Where(use => Outside().IsMatch(use))];
        Assert.True(wrong.Length == 0, string.Join('\n', wrong));
    }

    // The check itself: this assembly does all of that.
    [Fact]
    public void Forbidden_uses_are_seen_where_they_are()
    {
        string[] seen = [.. OutsideUses.Of(typeof(ArchitectureTests).Assembly.Location).Where(use => Outside().IsMatch(use))];
        Action[] uses = [() => File.Exists("a"), () => Console.Write(DateTime.Now), () => _ = new Random(), () => _ = Random.Shared,
            () => Environment.GetEnvironmentVariable("A")];
        Assert.Equal(5, uses.Length);
        foreach (string use in new[] { "System.IO.File", "System.IO.FileStream", "System.Console", "System.DateTime.get_Now/0", "System.Random..ctor/0",
            "System.Random.get_Shared/0", "System.Environment.GetEnvironmentVariable/1" })
        {
            Assert.Contains(use, seen);
        }

        // Seeded random numbers and the number of processors are no surprises.
        Assert.DoesNotContain("System.Random..ctor/1", seen);
        Assert.DoesNotContain("System.Environment", seen);
    }

    [Fact]
    public void Note_codes_are_unique()
    {
        string[] codes = [.. NoteCatalog.All.Select(n => n.Code)];
        Assert.Equal(codes.Length, codes.Distinct().Count());
    }

    [GeneratedRegex(@"^System\.(IO|Net|Data|Console|Diagnostics\.Process|Runtime\.Loader|Threading\.Timer|TimeProvider)\b|^System\.(DateTime|DateTimeOffset)\.get_(Now|UtcNow|Today)|^System\.Environment\.(?!get_ProcessorCount|get_CurrentManagedThreadId)\w|^System\.Random\.(\.ctor/0|get_Shared)|^System\.Guid\.NewGuid|^Microsoft\.Win32\b")]
    private static partial Regex Outside();
}
