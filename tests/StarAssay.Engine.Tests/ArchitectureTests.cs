using StarAssay.Engine.Results;

namespace StarAssay.Engine.Tests;

/// <summary>Rules of the house that the compiler cannot keep.</summary>
public class ArchitectureTests
{
    [Fact]
    public void Engine_knows_no_Python_and_no_files()
    {
        string[] names = [.. typeof(Note).Assembly.GetReferencedAssemblies().Select(a => a.Name!)];
        Assert.Contains("System.Runtime", names);
        Assert.DoesNotContain(names, n => n.Contains("Python", StringComparison.OrdinalIgnoreCase));
        Assert.DoesNotContain("System.IO.FileSystem", names);
    }

    [Fact]
    public void Note_codes_are_unique()
    {
        string[] codes = [.. NoteCatalog.All.Select(n => n.Code)];
        Assert.Equal(codes.Length, codes.Distinct().Count());
    }
}
