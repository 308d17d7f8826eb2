using System.Runtime.CompilerServices;

namespace StarAssay.Engine.Tests.Architecture;

/// <summary>Where the sources lie that the tests look at.</summary>
internal static class Repository
{
    /// <summary>The checkout's top folder.</summary>
    public static string Top { get; } = Path.GetFullPath(Path.Combine(Here(), "..", "..", ".."));

    /// <summary>C# files below a folder, without what the compiler makes.</summary>
    public static IEnumerable<string> Sources(string folder) =>
        Directory.EnumerateFiles(Path.Combine(Top, folder), "*.cs", SearchOption.AllDirectories)
            .Where(file => !Path.GetRelativePath(Top, file).Split(Path.DirectorySeparatorChar).Any(part => part is "bin" or "obj"))
            .Order(StringComparer.Ordinal);

    private static string Here([CallerFilePath] string file = "") => Path.GetDirectoryName(file)!;
}
