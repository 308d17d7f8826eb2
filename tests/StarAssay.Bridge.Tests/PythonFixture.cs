using System.Runtime.InteropServices;
using StarAssay.Bridge.Astropy;

namespace StarAssay.Bridge.Tests;

/// <summary>Python in this test process, started once and shared by every test that calls Astropy.</summary>
public sealed class PythonFixture
{
    /// <summary>The library to load: STARASSAY_LIBPYTHON, else Debian 12's.</summary>
    public static string Library => Environment.GetEnvironmentVariable("STARASSAY_LIBPYTHON") ?? "libpython3.11.so.1.0";

    public PythonFixture() => PythonHost.Start(Library);
}

/// <summary>Tests that share the one Python.</summary>
[CollectionDefinition(Name)]
public sealed class PythonCollection : ICollectionFixture<PythonFixture>
{
    public const string Name = "Python";
}

/// <summary>A test that needs Python: on a laptop without it, skipped with the reason; in CI, run and so failed.</summary>
[AttributeUsage(AttributeTargets.Method)]
public sealed class PythonFactAttribute : FactAttribute
{
    private static readonly bool Present = Probe();

    public PythonFactAttribute()
    {
        if (!Present && Environment.GetEnvironmentVariable("CI") is null)
        {
            Skip = $"{PythonFixture.Library} is not on this machine (set STARASSAY_LIBPYTHON)";
        }
    }

    private static bool Probe() => NativeLibrary.TryLoad(PythonFixture.Library, out _);
}
