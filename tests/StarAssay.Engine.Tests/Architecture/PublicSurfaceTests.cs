using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests.Architecture;

/// <summary>What the engine shows to programs stands in one file: a change to it is meant, or it is a mistake.</summary>
public class PublicSurfaceTests
{
    private const string Renew = "STARASSAY_RENEW";
    private static readonly string Page = Path.Combine(Repository.Top, "tests", "StarAssay.Engine.Tests", "PublicSurface.txt");

    [Fact]
    public void Public_surface_is_the_one_written_down()
    {
        string[] now = PublicSurface.Of(typeof(Note).Assembly);
        Assert.True(now.Length > 500, $"only {now.Length} lines");
        if (Environment.GetEnvironmentVariable(Renew) == "1")
        {
            File.WriteAllText(Page, string.Join('\n', now) + "\n");
        }

        string difference = Difference(File.ReadAllLines(Page), now);
        Assert.True(
            difference.Length == 0,
            $"The engine's public surface has changed:\n{difference}\nIf that is meant, renew the file and commit it: {Renew}=1 dotnet test " +
                "tests/StarAssay.Engine.Tests -c Release --filter PublicSurface");
    }

    [Fact]
    public void Differences_name_the_type_that_a_member_belongs_to()
    {
        string[] before = ["class A", "  int X { get; }", "class B", "  int X { get; }"],
            after = ["class A", "  int X { get; }", "class B", "  int Y { get; }"];
        Assert.Equal("", Difference(before, before));
        Assert.Equal("- class B: int X { get; }\n+ class B: int Y { get; }", Difference(before, after));
    }

    [Fact]
    public void Every_kind_of_member_has_its_line()
    {
        string[] lines = PublicSurface.Of(typeof(Note).Assembly);
        Assert.Contains("enum StarAssay.Engine.Imaging.PixelFormat", lines);
        Assert.Contains("  UInt16 = 2", lines);
        Assert.Contains("static class StarAssay.Engine.Stars.StarMeasurement", lines);
        Assert.Contains("  static StarField Measure(StarRequest request, RunContext context)", lines);
        Assert.Contains("  required double[] Hfr { get; init; }", lines);
        Assert.Contains("  new(int threads = 0, Action<double, string> report = default, CancellationToken cancel = default)", lines);
    }

    private static string Difference(string[] before, string[] after)
    {
        HashSet<string> old = [.. Whole(before)], now = [.. Whole(after)];
        return string.Join('\n', old.Except(now).Select(line => $"- {line}").Concat(now.Except(old).Select(line => $"+ {line}")));
    }

    /// <summary>Lines of members with their type.</summary>
    private static IEnumerable<string> Whole(string[] lines)
    {
        string type = "";
        foreach (string line in lines)
        {
            type = line.StartsWith(' ') ? type : line.Split(" : ")[0];
            yield return line.StartsWith(' ') ? $"{type}: {line.Trim()}" : line;
        }
    }
}
